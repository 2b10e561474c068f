//! Takes are heard on all cores, as many at a time as there are jobs and memory for; a take's sound is in memory only
//! while it is heard. One bad file is one result that says so.

use super::kept_result::{Heard, Keeper, Kept, hash_of_file};
use super::memory::{Memory, Share, steps};
use crate::cli::shared::progress::Pieces;
use fingertape::decode::{self, DecodeError, ReadLimits, Take};
use fingertape::notation::Melody;
use fingertape::pipeline::{self, JudgeSettings};
use fingertape::units::Seconds;
use rayon::prelude::*;
use std::fs;
use std::io;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};
use std::time::Duration;

/// A take and what it is to be held against.
pub struct Task<'a> {
    /// The file.
    pub path: PathBuf,
    /// The hash of its bytes, where it is known already.
    pub hash: Option<&'a str>,
    /// The melody, for the instrument that plays.
    pub melody: &'a Melody,
    /// The settings.
    pub settings: &'a JudgeSettings,
}

/// What a take may cost.
#[derive(Debug, Clone, Copy)]
pub struct Limits {
    /// The longest take in seconds.
    pub longest_s: f64,
    /// The largest file in bytes.
    pub largest: u64,
    /// How long reading a file may take, by the clock.
    pub patience: Duration,
}

/// Hears all tasks, in their order; each result with its key. Only a disk that cannot be written is an error.
pub fn hear(
    tasks: &[Task<'_>],
    keeper: &Keeper,
    limits: Limits,
    memory: &Memory,
    workers: &rayon::ThreadPool,
) -> io::Result<Vec<(Option<String>, Kept)>> {
    let bar = Pieces::new(tasks.len(), "Listening to takes:");
    // One piece of work at a time: a thread takes the next take when it has done with one.
    workers.install(|| {
        tasks
            .par_iter()
            .with_max_len(1)
            .map(|task| {
                let result = hear_one(task, keeper, limits, memory);
                bar.one_done();
                result
            })
            .collect()
    })
}

fn hear_one(
    task: &Task<'_>,
    keeper: &Keeper,
    limits: Limits,
    memory: &Memory,
) -> io::Result<(Option<String>, Kept)> {
    let failed = |why: String| Ok((None, Kept::Failed(why)));
    match fs::metadata(&task.path) {
        Ok(found) if found.len() > limits.largest => {
            let megabytes = limits.largest >> 20;
            return failed(format!(
                "the file is larger than {megabytes} MB. Export the sound alone, or allow more with --largest."
            ));
        }
        _ => {}
    }
    let hash = match task.hash.map_or_else(|| hash_of_file(&task.path), |hash| Ok(hash.to_owned())) {
        Ok(hash) => hash,
        Err(error) => return failed(format!("the file cannot be read: {error}. Copy it again.")),
    };
    let key = keeper.key(&hash, task.melody, task.settings, limits.longest_s);
    if let Some(kept) = keeper.look_up(&key) {
        return Ok((Some(key), kept));
    }
    let heard = catch_unwind(AssertUnwindSafe(|| judge(task, limits, memory))).unwrap_or_else(|_| {
        Ok(Heard::failed(
            "this program failed on the file; the file may be fine. Listen to it yourself.".to_owned(),
        ))
    });
    match heard {
        Ok(heard) => Ok((Some(key.clone()), keeper.keep(&key, heard)?)),
        // The clock decided: another time it may be in time, so this is not kept.
        Err(why) => failed(why),
    }
}

/// A take's result; the error is one that may not come again.
fn judge(task: &Task<'_>, limits: Limits, memory: &Memory) -> Result<Heard, String> {
    let (take, _share) = match read(&task.path, limits, memory) {
        Ok(read) => read,
        Err(NotRead::ThisTime(why)) => return Err(why),
        Err(NotRead::Ever(why)) => return Ok(Heard::failed(why)),
    };
    let mut settings = task.settings.clone();
    settings.remarks.extend(take.remarks);
    let listening = pipeline::listen(&take.samples, Some(settings.instrument));
    let report = pipeline::judge_listening(&take.samples, &listening, task.melody, &settings);
    Ok(Heard { kept: Kept::Report(Box::new(report)), f0: Some(listening.contour.f0()) })
}

/// Why a take was not read.
pub enum NotRead {
    /// The file is so.
    Ever(String),
    /// The clock decided.
    ThisTime(String),
}

/// Reads a take as soon as there is memory for it, and the share of memory that it has from then on. It is first tried as a
/// short one.
pub fn read<'a>(path: &Path, limits: Limits, memory: &'a Memory) -> Result<(Take, Share<'a>), NotRead> {
    for most_samples in steps() {
        let share = memory.share_for(most_samples);
        let limits_of_read =
            ReadLimits { longest: Seconds(limits.longest_s), most_samples, patience: Some(limits.patience) };
        let take = decode::read_take_within(path, limits_of_read).map_err(|error| {
            let why = without_name(&error.to_string(), path);
            if matches!(error, DecodeError::TooSlow { .. }) {
                NotRead::ThisTime(why)
            } else {
                NotRead::Ever(why)
            }
        })?;
        if !take.remarks.iter().any(|remark| remark.code == "too-long") {
            return Ok((take, share));
        }
        if is_longer(&take, limits.longest_s) {
            let minutes = limits.longest_s / 60.0;
            return Err(NotRead::Ever(format!(
                "the recording is longer than {minutes} minutes. Cut the playing test out of it, or allow more with --longest."
            )));
        }
        // There is more of it than was allowed for: once more, with room for more.
    }
    Err(NotRead::Ever(
        "the recording holds too much to be judged. Export it at 44100 or 48000 Hz, with one or two channels."
            .to_owned(),
    ))
}

/// Whether all the seconds that may be read were read, and not only as many samples as there was room for.
fn is_longer(take: &Take, longest_s: f64) -> bool {
    take.samples.duration().0 > longest_s - 0.01
}

/// An error's sentence without the file's name, which may be a child's.
fn without_name(sentence: &str, path: &Path) -> String {
    let whole = path.display().to_string();
    let name = path.file_name().unwrap_or(path.as_os_str()).to_string_lossy().into_owned();
    sentence.replace(&whole, "the file").replace(&name, "the file")
}
