//! Ranges of numbers on the command line, with errors that say the range and give advice.

use fingertape::notation::Metre;
use fingertape::units::A4_HERTZ;

/// The pitch of A4 in hertz: 390 to 470.
pub fn a4(text: &str) -> Result<f64, String> {
    number(
        text,
        "hertz",
        *A4_HERTZ.start(),
        *A4_HERTZ.end(),
        "most orchestras tune to 440 to 443; baroque players to 415",
    )
}

/// A tempo in beats per minute: 20 to 300, whatever the metre, which is not known yet.
pub fn bpm(text: &str) -> Result<f64, String> {
    let playable = Metre::default().playable_bpm();
    number(
        text,
        "beats per minute",
        *playable.start(),
        *playable.end(),
        "a walk is about 100, a slow song about 60",
    )
}

/// How much slower a melody is played, as a part of its tempo: 0.25 to 1.
pub fn slower(text: &str) -> Result<f64, String> {
    number(text, "times the tempo", 0.25, 1.0, "0.7 is slow enough to look at each finger")
}

/// The length of a level check in seconds: 0 to 10.
#[cfg(feature = "microphone")]
pub fn level_check(text: &str) -> Result<f64, String> {
    number(text, "seconds", 0.0, 10.0, "two are enough for one long note; 0 leaves it out")
}

/// The sounding lengths of strings in millimetres.
pub const STRING_LENGTHS: std::ops::RangeInclusive<f64> = 150.0..=1200.0;

/// The sounding length of a string in millimetres: 150 to 1200.
pub fn string_length(text: &str) -> Result<f64, String> {
    let (shortest, longest) = (*STRING_LENGTHS.start(), *STRING_LENGTHS.end());
    number(text, "millimetres", shortest, longest, "measure from the nut to the bridge")
}

/// The longest take of a class in minutes, as seconds: 0.1 to 10 minutes.
pub fn longest_take(text: &str) -> Result<f64, String> {
    number(text, "minutes", 0.1, 10.0, "a playing test takes one or two").map(|minutes| minutes * 60.0)
}

/// How long a file may take to be read, in seconds: 1 to 600.
pub fn reading_time(text: &str) -> Result<f64, String> {
    number(text, "seconds", 1.0, 600.0, "a minute of sound takes less than one")
}

/// How long to wait for a sound, in seconds: 1 to 600.
pub fn patience(text: &str) -> Result<f64, String> {
    number(text, "seconds", 1.0, 600.0, "20 is enough to pick up a bow")
}

/// The height of a staff in millimetres: 4 to 16.
pub fn staff_mm(text: &str) -> Result<f64, String> {
    number(text, "millimetres, or child or adult", 4.0, 16.0, "child is 9.2, adult 7")
}

/// Pixels to the inch: 40 to 600.
pub fn dpi(text: &str) -> Result<f64, String> {
    number(text, "pixels to the inch", 40.0, 600.0, "150 for a screen, 300 for a printer")
}

/// Bars to try things out in, on a sheet to write on: 0 to 32.
pub fn practice_bars(text: &str) -> Result<u32, String> {
    whole(text, "bars", 0, 32, "0 leaves them out")
}

/// How often a melody is played: 1 to 100 times.
pub fn times(text: &str) -> Result<u32, String> {
    whole(text, "times", 1, 100, "Ctrl-C stops it")
}

/// How loud it is, in percent of full scale: 0 to 100.
pub fn volume(text: &str) -> Result<u8, String> {
    whole(text, "percent", 0, 100, "25 is the usual")
}

fn whole<T: std::str::FromStr + PartialOrd + std::fmt::Display>(
    text: &str,
    unit: &str,
    low: T,
    high: T,
    advice: &str,
) -> Result<T, String> {
    let given = text.trim().parse().ok().filter(|value| (&low..=&high).contains(&value));
    given.ok_or_else(|| format!("give {low} to {high} {unit}, a whole number ({advice})"))
}

fn number(text: &str, unit: &str, low: f64, high: f64, advice: &str) -> Result<f64, String> {
    let value: f64 = text.trim().parse().map_err(|_| {
        let wanted =
            if text.contains(',') { "write decimals with a point, such as 442.5" } else { "not a number" };
        format!("{wanted}; give {low} to {high} {unit} ({advice})")
    })?;
    if (low..=high).contains(&value) {
        Ok(value)
    } else {
        Err(format!("out of range; give {low} to {high} {unit} ({advice})"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_ends_of_a_range_belong_to_it() {
        assert_eq!(a4("390"), Ok(390.0));
        assert_eq!(a4("470"), Ok(470.0));
        assert_eq!(bpm(" 20 "), Ok(20.0));
        assert!(a4("389.9").is_err());
        assert!(bpm("300.5").is_err());
    }

    #[test]
    fn whole_numbers_say_their_range_too() {
        assert_eq!([practice_bars("0"), practice_bars(" 32 ")], [Ok(0), Ok(32)]);
        for text in ["33", "100", "-1", "2.5", "many"] {
            let error = practice_bars(text).unwrap_err();
            assert!(error.contains("give 0 to 32 bars"), "{text}: {error}");
        }
        assert_eq!((times("100"), volume("100")), (Ok(100), Ok(100)));
        assert!(times("0").is_err() && volume("101").is_err());
    }

    #[test]
    fn words_and_not_a_number_are_refused_with_the_range() {
        for text in ["fast", "", "NaN", "inf", "-60"] {
            let error = bpm(text).unwrap_err();
            assert!(error.contains("20 to 300 beats per minute"), "{text}: {error}");
        }
    }
}
