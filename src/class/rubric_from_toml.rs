//! A rubric file becomes a rubric; what has no meaning comes back as a complaint, and nothing is marked by guesses.

use super::rubric::{Band, Criterion, Level, Repeated, Rubric, Thresholds};
use jiff::civil::Date;
use toml::{Table, Value};

/// Something in a rubric file that has no meaning.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RubricComplaint {
    /// Where: the key with its tables, such as `weights.pitch`, or a line.
    pub place: String,
    /// What is wrong and what to write.
    pub text: String,
}

/// Reads a rubric. Without complaints the rubric is what the file says, with the usual values where it says nothing.
pub fn rubric_from_toml(text: &str) -> (Rubric, Vec<RubricComplaint>) {
    // Places in the text are counted from behind the byte order mark.
    let text = text.trim_start_matches('\u{feff}');
    let mut rubric = Rubric::default();
    let mut complaints = Vec::new();
    let table = match text.parse::<Table>() {
        Ok(table) => table,
        Err(error) => {
            let line =
                error.span().map_or(1, |span| text[..span.start.min(text.len())].matches('\n').count() + 1);
            let text = format!(
                "{}. Look at this line: names and signs as in the example of 'fingertape help class'",
                error.message()
            );
            return (rubric, vec![RubricComplaint { place: format!("line {line}"), text }]);
        }
    };
    let mut reader = Reader { complaints: &mut complaints };
    for (key, value) in &table {
        match key.as_str() {
            "highest" => {
                if let Some(number) = reader.number(key, value, 1.0, 1000.0) {
                    rubric.highest = number;
                }
            }
            "repeated" => match value.as_str() {
                Some("best") => rubric.repeated = Repeated::Best,
                Some("last") => rubric.repeated = Repeated::Last,
                Some("all") => rubric.repeated = Repeated::All,
                _ => reader.complain(key, "write \"best\", \"last\" or \"all\""),
            },
            "due" => match value.as_str().map_or_else(|| value.to_string(), str::to_owned).parse::<Date>() {
                Ok(day) => rubric.due = Some(day),
                Err(_) => reader.complain(key, "write the last day in time as \"2026-11-20\" (year-month-day)"),
            },
            "late" => match value.as_str() {
                Some("counts") => rubric.late_counts = true,
                Some("apart") => rubric.late_counts = false,
                _ => reader.complain(key, "write \"counts\" or \"apart\""),
            },
            "weights" => reader.weights(value, &mut rubric),
            "bands" => reader.bands(value, &mut rubric),
            "thresholds" => {
                if let Some(table) = reader.table(key, value) {
                    rubric.thresholds = reader.thresholds(key, table, Thresholds::default(), &[]);
                }
            }
            "level" => {}
            _ => reader.complain(key, "this word is not known here; the words are highest, repeated, due, late, weights, bands, thresholds and level"),
        }
    }
    if let Some(value) = table.get("level") {
        reader.levels(value, &mut rubric);
    }
    // The usual bands are those of 100 points.
    if !table.contains_key("bands") {
        for band in &mut rubric.bands {
            band.from = band.from * rubric.highest / 100.0;
        }
    } else if let Some(band) = rubric.bands.iter().find(|band| band.from > rubric.highest) {
        let text = format!("begins at {}, and the highest mark is {}", band.from, rubric.highest);
        complaints.push(RubricComplaint { place: format!("bands.{}", band.word), text });
    }
    if rubric.due.is_none() && !rubric.late_counts {
        let text = "nothing is late without a last day; add due = \"2026-11-20\" with your day".to_owned();
        complaints.push(RubricComplaint { place: "late".to_owned(), text });
    }
    let weights_read = !complaints.iter().any(|complaint| complaint.place.starts_with("weights"));
    if weights_read && rubric.weights.iter().all(|weight| *weight == 0.0) {
        let text = "all weights are 0, so there is nothing to mark by; give one of them a number".to_owned();
        complaints.push(RubricComplaint { place: "weights".to_owned(), text });
    }
    (rubric, complaints)
}

struct Reader<'a> {
    complaints: &'a mut Vec<RubricComplaint>,
}

impl Reader<'_> {
    fn complain(&mut self, place: &str, text: &str) {
        self.complaints.push(RubricComplaint { place: place.to_owned(), text: text.to_owned() });
    }

    fn number(&mut self, place: &str, value: &Value, low: f64, high: f64) -> Option<f64> {
        let number = value.as_float().or_else(|| value.as_integer().map(|whole| whole as f64));
        let number = number.filter(|number| (low..=high).contains(number));
        if number.is_none() {
            self.complain(place, &format!("write a number from {low} to {high}, without quotes"));
        }
        number
    }

    fn table<'v>(&mut self, place: &str, value: &'v Value) -> Option<&'v Table> {
        if !value.is_table() {
            self.complain(
                place,
                &format!("this is a heading of its own: write [{place}], and its lines below it"),
            );
        }
        value.as_table()
    }

    fn weights(&mut self, value: &Value, rubric: &mut Rubric) {
        let Some(table) = self.table("weights", value) else { return };
        // Who writes weights means these and no others.
        rubric.weights = [0.0; 4];
        for (key, value) in table {
            let place = format!("weights.{key}");
            match Criterion::ALL.iter().position(|criterion| criterion.word() == key) {
                Some(at) => {
                    if let Some(number) = self.number(&place, value, 0.0, 1000.0) {
                        rubric.weights[at] = number;
                    }
                }
                None => self.complain(
                    &place,
                    &format!(
                        "marks are given for pitch, rhythm, rests and intonation; {key} is none of them"
                    ),
                ),
            }
        }
    }

    fn bands(&mut self, value: &Value, rubric: &mut Rubric) {
        let Some(table) = self.table("bands", value) else { return };
        rubric.bands.clear();
        for (word, value) in table {
            if let Some(from) = self.number(&format!("bands.{word}"), value, 0.0, 1000.0) {
                rubric.bands.push(Band { from, word: word.clone() });
            }
        }
        rubric.bands.sort_by(|one, other| other.from.total_cmp(&one.from));
    }

    fn thresholds(&mut self, place: &str, table: &Table, usual: Thresholds, others: &[&str]) -> Thresholds {
        let mut thresholds = usual;
        for (key, value) in table {
            let place = format!("{place}.{key}");
            let (to, low, high) = match key.as_str() {
                "in_tune_cents" => (&mut thresholds.in_tune_cents, 5.0, 50.0),
                "in_time_beats" => (&mut thresholds.in_time_beats, 0.05, 1.0),
                "unsure_percent" => (&mut thresholds.unsure_percent, 0.0, 100.0),
                other if others.contains(&other) => continue,
                _ => {
                    self.complain(&place, "thresholds are in_tune_cents, in_time_beats and unsure_percent");
                    continue;
                }
            };
            if let Some(number) = self.number(&place, value, low, high) {
                *to = number;
            }
        }
        thresholds
    }

    fn levels(&mut self, value: &Value, rubric: &mut Rubric) {
        let Some(table) = self.table("level", value) else { return };
        for (name, value) in table {
            let place = format!("level.{name}");
            let Some(table) = self.table(&place, value) else { continue };
            let mut groups = Vec::new();
            if let Some(value) = table.get("groups") {
                let listed = value.as_array().and_then(|list| {
                    list.iter().map(|group| group.as_str().map(str::to_owned)).collect::<Option<Vec<_>>>()
                });
                match listed {
                    Some(listed) => groups = listed,
                    None => self.complain(
                        &format!("{place}.groups"),
                        "write a list of groups, such as [\"4A\", \"4B\"]",
                    ),
                }
            }
            let taken = groups.iter().find_map(|group| {
                let other = rubric.levels.iter().find(|level| level.groups.contains(group))?;
                Some((group, &other.name))
            });
            if let Some((group, other)) = taken {
                let text =
                    format!("the group {group} has the level {other} already; leave it in one of them");
                self.complain(&format!("{place}.groups"), &text);
            }
            let thresholds = self.thresholds(&place, table, rubric.thresholds, &["groups"]);
            rubric.levels.push(Level { name: name.clone(), groups, thresholds });
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn an_empty_file_is_the_usual_rubric() {
        assert_eq!(rubric_from_toml(""), (Rubric::default(), Vec::new()));
    }

    #[test]
    fn every_word_of_a_rubric_is_heard() {
        let text = "highest = 20\nrepeated = \"last\"\n[weights]\npitch = 3\nrests = 1\n[bands]\nnot-yet = 0\nthere = 15.5\n\
                    [thresholds]\nin_time_beats = 0.3\n[level.grade-4]\ngroups = [\"4A\"]\nin_tune_cents = 30\n";
        let (rubric, complaints) = rubric_from_toml(text);
        assert_eq!(complaints, []);
        assert_eq!(
            (rubric.highest, rubric.weights, rubric.repeated),
            (20.0, [3.0, 0.0, 1.0, 0.0], Repeated::Last)
        );
        assert_eq!((rubric.band(15.5), rubric.band(15.0)), (Some("there"), Some("not-yet")));
        let level = rubric.thresholds_for("", "4A");
        assert_eq!((level.in_tune_cents, level.in_time_beats), (30.0, 0.3));
    }

    #[test]
    fn three_quarters_of_any_highest_mark_are_nearly_there() {
        for highest in 1..=1000 {
            let (rubric, complaints) = rubric_from_toml(&format!("highest = {highest}"));
            assert_eq!(complaints, []);
            let three_quarters = f64::from(highest) * 0.75;
            assert_eq!(rubric.band(three_quarters), Some("nearly there"), "{highest}");
            assert_eq!(rubric.band(three_quarters - 0.01), Some("on the way"), "{highest}");
        }
        let (rubric, _) = rubric_from_toml("highest = 28");
        assert_eq!(rubric.band(rubric.mark(0.75)), Some("nearly there"));
        let (rubric, _) = rubric_from_toml("highest = 14.4");
        assert_eq!(rubric.band(rubric.mark(0.75)), Some("nearly there"));
    }

    #[test]
    fn the_last_day_is_a_date_with_or_without_quotes() {
        for text in ["due = \"2026-11-20\"\nlate = \"apart\"", "due = 2026-11-20\nlate = \"apart\""] {
            let (rubric, complaints) = rubric_from_toml(text);
            assert_eq!(complaints, []);
            assert_eq!(rubric.due.map(|day| day.to_string()).as_deref(), Some("2026-11-20"));
            assert!(!rubric.late_counts);
        }
    }

    #[test]
    fn what_has_no_meaning_is_a_complaint_with_its_place() {
        let places = |text: &str| {
            let (_, complaints) = rubric_from_toml(text);
            complaints.into_iter().map(|complaint| complaint.place).collect::<Vec<_>>().join(" ")
        };
        assert_eq!(places("[weights]\npitch = \"much\"\ntone = 5"), "weights.pitch weights.tone");
        assert_eq!(places("hihgest = 3\nrepeated = 2"), "hihgest repeated");
        assert_eq!(places("a = 1\nb ="), "line 2");
        assert_eq!(places("\u{feff}a ="), "line 1");
        assert_eq!(places("weights = 3"), "weights");
        assert_eq!(places("due = \"20.11.2026\"\nlate = true"), "due late");
        assert_eq!(places("late = \"apart\""), "late");
        assert_eq!(places("highest = 10\n[bands]\ntop = 90"), "bands.top");
        assert_eq!(
            places("[level.a]\ngroups = [\"4A\"]\n[level.b]\ngroups = [\"4B\", \"4A\"]"),
            "level.b.groups"
        );
        assert_eq!(
            places("[level.x]\ngroups = 4\nin_tune_cents = 400"),
            "level.x.groups level.x.in_tune_cents"
        );
    }

    proptest! {
        #[test]
        fn any_text_gets_an_answer_with_something_to_mark_by(text in any::<String>()) {
            let (_, complaints) = rubric_from_toml(&text);
            prop_assert!(complaints.iter().all(|one| !one.text.is_empty()));
        }
    }
}
