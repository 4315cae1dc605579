//! The files that a campaign leaves in its folder, made from its stream.
//!
//! Invariant: the same stream gives the same files.

use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};

use super::Verdict;
use super::failure::Failure;
use super::output::{WholeFile, say};
use shaftbook_evidence::campaign::cases;
use shaftbook_evidence::campaign::draw::draw;
use shaftbook_evidence::campaign::plan::CampaignPlan;
use shaftbook_evidence::campaign::regression::Regression;
use shaftbook_evidence::campaign::report;
use shaftbook_evidence::campaign::report::json::Report;
use shaftbook_evidence::campaign::results::Results;
use shaftbook_evidence::campaign::runner::{Runner, named};
use shaftbook_evidence::campaign::shrink::shrink;
use shaftbook_evidence::campaign::summary;

/// Name of the stream of results.
pub const STREAM: &str = "runs.jsonl";
/// Folder of the regression files.
const REGRESSIONS: &str = "regressions";
/// Failing runs that are shrunk and written.
const SHRUNK: usize = 3;

/// Reads the stream in `out`, writes all reports beside it, and prints the summary.
/// `file` is the campaign file, for the commands in them; without a `runner` no failing run
/// is shrunk.
///
/// # Errors
/// The stream cannot be read, or a report cannot be written.
pub fn finish(out: &Path, runner: Option<&dyn Runner>, file: &str) -> Result<Verdict, Failure> {
    let results = Results::read(&out.join(STREAM))?;
    let text = summary::text(&results, file);
    write(&out.join("summary.txt"), text.as_bytes())?;
    say(&text)?;
    let mut junit = Vec::new();
    cases::suite(&results, file).write(&mut junit)?;
    write(&out.join("junit.xml"), &junit)?;
    let json = serde_json::to_string_pretty(&Report::of(&results, file))? + "\n";
    write(&out.join("campaign.json"), json.as_bytes())?;
    write(&out.join("report.html"), report::html::html(&results, file).as_bytes())?;
    let path = out.join("runs.parquet");
    let (whole, mut file) = WholeFile::begin(&path)?;
    report::parquet::write(&out.join(STREAM), &mut file)?;
    file.flush().map_err(|e| Failure::file(&path, &e))?;
    drop(file);
    whole.finish()?;
    regressions(out, &results, runner)?;
    Ok(if results.held() { Verdict::Held } else { Verdict::Failed })
}

fn write(path: &Path, bytes: &[u8]) -> Result<(), Failure> {
    let (whole, mut file) = WholeFile::begin(path)?;
    file.write_all(bytes).and_then(|()| file.flush()).map_err(|e| Failure::file(path, &e))?;
    drop(file);
    whole.finish()
}

/// The first runs that failed, shrunk; what an earlier campaign left is removed.
fn regressions(out: &Path, results: &Results, runner: Option<&dyn Runner>) -> Result<(), Failure> {
    let folder = out.join(REGRESSIONS);
    if let Ok(entries) = fs::read_dir(&folder) {
        for path in entries.filter_map(Result::ok).map(|entry| entry.path()) {
            let name = path.file_stem().and_then(|name| name.to_str()).unwrap_or_default();
            let is_toml = path.extension().is_some_and(|ending| ending == "toml");
            if name.starts_with("run-") && is_toml {
                fs::remove_file(&path).map_err(|e| Failure::file(&path, &e))?;
            }
        }
    }
    let Some(runner) = runner else { return Ok(()) };
    for row in results.failures.iter().take(SHRUNK) {
        let path = regression(&results.header.plan, row.run, runner, &folder)?;
        if named(&runner.subject()).is_ok() {
            say(&format!("shrunk: shaftbook prove --replay {}\n", path.display()))?;
        } else {
            say(&format!("shrunk: {}\n", path.display()))?;
        }
    }
    Ok(())
}

/// Shrinks run `number`, which fails, and writes it to the folder `out`; the file.
///
/// # Errors
/// It cannot be written.
pub fn regression(
    plan: &CampaignPlan,
    number: u64,
    runner: &dyn Runner,
    out: &Path,
) -> Result<PathBuf, Failure> {
    let (_, script) = draw(plan, number);
    let Some(seen) = runner.play(&script).seen else {
        let line = format!("run {number} holds now: the results are of another build; --fresh");
        return Err(Failure(line));
    };
    let shrunk = shrink(runner, script, &seen);
    let regression = Regression {
        campaign: plan.name.clone(),
        run: number,
        subject: runner.subject(),
        seen: shrunk.seen,
        script: shrunk.script,
    };
    fs::create_dir_all(out).map_err(|e| Failure::file(out, &e))?;
    let path = out.join(format!("run-{number}.toml"));
    let (whole, mut file) = WholeFile::begin(&path)?;
    file.write_all(regression.text()?.as_bytes())
        .and_then(|()| file.flush())
        .map_err(|e| Failure::file(&path, &e))?;
    drop(file);
    whole.finish()?;
    Ok(path)
}
