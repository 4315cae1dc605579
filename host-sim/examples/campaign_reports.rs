//! Runs a campaign and writes its stream and its reports, for the worked queries and to
//! look at: `campaign_reports FILE RUNS FOLDER`.

use std::error::Error;
use std::fs::{self, File};
use std::path::Path;

use host_sim::campaign::execute::{Budget, execute};
use host_sim::campaign::plan::Plan;
use host_sim::campaign::report::{html, json, parquet};
use host_sim::campaign::results::Results;
use host_sim::campaign::runner::{On, Runner as _};
use host_sim::campaign::stream::{Header, Shard, Writer};
use host_sim::prove::rig::Rig;
use shaftbook_core::rules::Sound;

fn main() -> Result<(), Box<dyn Error>> {
    let mut arguments = std::env::args().skip(1);
    let (Some(file), Some(runs), Some(folder)) =
        (arguments.next(), arguments.next(), arguments.next())
    else {
        return Err("usage: campaign_reports FILE RUNS FOLDER".into());
    };
    let folder = Path::new(&folder);
    fs::create_dir_all(folder)?;
    let stream = folder.join("runs.jsonl");
    let plan = Plan { runs: runs.parse()?, ..Plan::load(Path::new(&file))? };
    let runner = On::<Rig<Sound>>::new();
    let header = Header::new(&plan, runner.subject(), Shard::WHOLE);
    let mut writer = Writer::begin(&stream, &header)?;
    execute(&header, &runner, &mut writer, 0, Budget::default(), |_, _| {})?;
    let results = Results::read(&stream)?;
    fs::write(folder.join("report.html"), html::html(&results))?;
    fs::write(
        folder.join("report.json"),
        serde_json::to_string_pretty(&json::Report::of(&results))?,
    )?;
    parquet::write(&stream, File::create(folder.join("runs.parquet"))?)?;
    Ok(())
}
