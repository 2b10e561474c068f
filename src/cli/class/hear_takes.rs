//! Takes are heard on all cores, as many at a time as there are jobs; a take's sound is in memory only while it is heard.
//! One bad file is one result that says so.

use super::kept_result::{Keeper, Kept, hash_of_file};
use crate::cli::progress::Pieces;
use fingertape::decode;
use fingertape::notation::Melody;
use fingertape::pipeline::{self, JudgeSettings};
use fingertape::units::Seconds;
use rayon::prelude::*;
use std::fs;
use std::io;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};

/// A take and what it is to be held against.
pub struct Task<'a> {
    /// The file.
    pub path: PathBuf,
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
}

/// Hears all tasks, in their order; each result with its key. Only a disk that cannot be written is an error.
pub fn hear(
    tasks: &[Task<'_>],
    keeper: &Keeper,
    limits: Limits,
    workers: &rayon::ThreadPool,
) -> io::Result<Vec<(Option<String>, Kept)>> {
    let bar = Pieces::new(tasks.len(), "Listening to takes:");
    // One piece of work at a time: a thread takes the next take when it has done with one.
    workers.install(|| {
        tasks
            .par_iter()
            .with_max_len(1)
            .map(|task| {
                let result = hear_one(task, keeper, limits);
                bar.one_done();
                result
            })
            .collect()
    })
}

fn hear_one(task: &Task<'_>, keeper: &Keeper, limits: Limits) -> io::Result<(Option<String>, Kept)> {
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
    let hash = match hash_of_file(&task.path) {
        Ok(hash) => hash,
        Err(error) => return failed(format!("the file cannot be read: {error}. Copy it again.")),
    };
    let key = keeper.key(&hash, task.melody, task.settings, limits.longest_s);
    if let Some(kept) = keeper.look_up(&key) {
        return Ok((Some(key), kept));
    }
    let heard = catch_unwind(AssertUnwindSafe(|| judge(task, limits))).unwrap_or_else(|_| {
        Kept::Failed(
            "this program failed on the file; the file may be fine. Listen to it yourself.".to_owned(),
        )
    });
    let kept = keeper.keep(&key, heard)?;
    Ok((Some(key), kept))
}

fn judge(task: &Task<'_>, limits: Limits) -> Kept {
    let take = match decode::read_take_up_to(&task.path, Seconds(limits.longest_s)) {
        Ok(take) => take,
        Err(error) => return Kept::Failed(without_name(&error.to_string(), &task.path)),
    };
    if take.remarks.iter().any(|remark| remark.code == "too-long") {
        let minutes = limits.longest_s / 60.0;
        return Kept::Failed(format!(
            "the recording is longer than {minutes} minutes. Cut the playing test out of it, or allow more with --longest."
        ));
    }
    let mut settings = task.settings.clone();
    settings.remarks.extend(take.remarks);
    Kept::Report(Box::new(pipeline::judge(&take.samples, task.melody, &settings)))
}

/// An error's sentence without the file's name, which may be a child's.
fn without_name(sentence: &str, path: &Path) -> String {
    let whole = path.display().to_string();
    let name = path.file_name().unwrap_or(path.as_os_str()).to_string_lossy().into_owned();
    sentence.replace(&whole, "the file").replace(&name, "the file")
}
