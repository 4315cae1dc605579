//! `shaftbook panel`: the panel, live in the terminal, or by a script.

use clap::builder::{PossibleValuesParser, TypedValueParser};
use std::io::{self, IsTerminal};
use std::path::PathBuf;
use std::time::{Duration, Instant};

use ratatui::DefaultTerminal;
use ratatui::crossterm::event::{self, Event, KeyCode, KeyEvent, KeyEventKind, KeyModifiers};
use shaftbook_core::authority::{KEY_BYTES, Key};
use shaftbook_core::board::Fitting;
use shaftbook_core::ledger::CarriedIn;
use shaftbook_panel::button::{Button, Press};

use super::Verdict;
use super::failure::Failure;
use super::output::say;
use shaftbook_tools::live::action::Action;
use shaftbook_tools::live::view::{Controls, SPEEDS, render};
use shaftbook_tools::live::world::World;
use shaftbook_tools::picture::text_of;
use shaftbook_world::profile::Profile;
use shaftbook_world::scenario::Scenario;
use shaftbook_world::settings_file::PanelLanguage;

/// Reads the language of `--language` as settings files write it.
fn language_parser() -> impl TypedValueParser<Value = PanelLanguage> {
    PossibleValuesParser::new(["en", "de"])
        .map(|text| if text == "de" { PanelLanguage::De } else { PanelLanguage::En })
}

/// The scenario without a file: the six-needle shop of the examples.
const SCENARIO: &str = include_str!("../../scenarios/six-needle-shop.toml");
/// Time between two pictures in the terminal.
const PICTURE: Duration = Duration::from_millis(50);
/// Most simulated time between two looks at the keyboard, µs.
const SLICE_US: u64 = 10_000_000;

/// Watch a machine's panel live in the terminal, press its buttons, cut its power
///
/// The board, its memory and its panel are simulated by the same code that runs on a
/// board; the engineer's key is an invented one.
#[derive(Debug, clap::Args)]
#[command(after_help = "Keys:
  b n a      the buttons back, next, act      B A   hold back, hold act
  p          the wall switch                  + -   faster, slower
  space      let time stand still             e     the engineer's reply
  q          quit (Esc and Ctrl-C too)

Examples:
  shaftbook panel
  shaftbook panel host-sim/scenarios/fifteen-needle-contract.toml --language de
  shaftbook panel --do '8h off 10s on 5s next next act'

With --do nothing is live: the actions are done one after the other and the screen is
printed. An action is back, next, act, home (hold back), hold (hold act), off, on, reply
(type the engineer's reply), or a time to wait such as 90s, 30m or 8h.")]
pub struct Args {
    /// Scenario file (TOML); without it, the six-needle shop of the examples
    scenario: Option<PathBuf>,
    /// Care profile (TOML) to fit the board with; without it, the one for its needles
    #[arg(long, value_name = "FILE")]
    profile: Option<PathBuf>,
    /// Language of the panel
    #[arg(long, value_parser = language_parser())]
    language: Option<PanelLanguage>,
    /// Seed of everything random, instead of the scenario's
    #[arg(long, value_name = "N")]
    seed: Option<u64>,
    /// Do these actions and print the screen
    #[arg(long = "do", value_name = "ACTIONS")]
    actions: Option<String>,
    /// Print the screen after every action
    #[arg(long, requires = "actions")]
    each: bool,
}

/// Does it.
///
/// # Errors
/// A bad scenario or profile, a word that is no action, or no terminal.
pub fn run(args: &Args) -> Result<Verdict, Failure> {
    let actions = match &args.actions {
        Some(words) => {
            Some(words.split_whitespace().map(str::parse).collect::<Result<Vec<Action>, _>>()?)
        }
        None => None,
    };
    let scenario = match &args.scenario {
        Some(path) => Scenario::load(path)?,
        None => Scenario::parse("six-needle-shop.toml", SCENARIO)?,
    };
    let profile = match &args.profile {
        Some(path) => Profile::load(path)?,
        None => Profile::builtin(scenario.machine.needles),
    };
    let mut settings = profile.settings(scenario.settings());
    if let Some(language) = args.language {
        settings.language = language.code();
    }
    let fitting = Fitting {
        settings,
        components: profile.components(false),
        carried_in: CarriedIn::default(),
        key: Key::new([0x5A; KEY_BYTES]),
    };
    let mut world = World::new(&scenario, args.seed.unwrap_or(scenario.seed), fitting)?;
    match actions {
        Some(actions) => script(&mut world, &actions, args.each),
        None if !io::stdout().is_terminal() => Err(Failure(
            "the live panel needs a terminal; without one, give --do 'next act' and the like"
                .into(),
        )),
        None => {
            let mut terminal = ratatui::try_init()?;
            let result = live(&mut terminal, &mut world);
            ratatui::try_restore()?;
            result.map(|()| Verdict::Held).map_err(Failure::from)
        }
    }
}

fn script(world: &mut World, actions: &[Action], each: bool) -> Result<Verdict, Failure> {
    for (n, action) in actions.iter().enumerate() {
        world.act(*action).map_err(|why| Failure(format!("action {}: {why}", n + 1)))?;
        if each {
            show(world)?;
        }
    }
    if !each || actions.is_empty() {
        show(world)?;
    }
    Ok(Verdict::Held)
}

fn show(world: &mut World) -> Result<(), Failure> {
    if world.is_powered() {
        say(&text_of(&world.display()))
    } else {
        say("(no power: the screen is dark; the action `on` turns the machine on)\n")
    }
}

fn live(terminal: &mut DefaultTerminal, world: &mut World) -> io::Result<()> {
    let mut controls = Controls { speed: 2, ..Controls::default() };
    let mut last = Instant::now();
    loop {
        let picture = world.display();
        terminal.draw(|frame| render(frame, world, &picture, controls))?;
        while event::poll(PICTURE.saturating_sub(last.elapsed()))? {
            if let Event::Key(key) = event::read()?
                && key.kind == KeyEventKind::Press
                && (is_interrupt(key) || !pressed(key.code, world, &mut controls))
            {
                return Ok(());
            }
        }
        let passed = last.elapsed();
        last = Instant::now();
        if !controls.paused && !world.is_over() {
            let speed = u64::from(SPEEDS.get(controls.speed).copied().unwrap_or(1));
            // Late pictures do not make the machine run after its time.
            let mut left_us = passed.min(PICTURE * 2).as_micros() as u64 * speed;
            while left_us > 0 && last.elapsed() < PICTURE {
                let slice_us = left_us.min(SLICE_US);
                world.pass(slice_us);
                left_us -= slice_us;
            }
        }
    }
}

/// Ctrl-C: the terminal hands it on as a key like any other.
fn is_interrupt(key: KeyEvent) -> bool {
    key.code == KeyCode::Char('c') && key.modifiers.contains(KeyModifiers::CONTROL)
}

/// Does what a key asks for; `false` to quit.
fn pressed(key: KeyCode, world: &mut World, controls: &mut Controls) -> bool {
    let press = match key {
        KeyCode::Char('b') | KeyCode::Left => Some(Press::Short(Button::Back)),
        KeyCode::Char('n') | KeyCode::Right => Some(Press::Short(Button::Next)),
        KeyCode::Char('a') | KeyCode::Enter => Some(Press::Short(Button::Act)),
        KeyCode::Char('B') => Some(Press::Long(Button::Back)),
        KeyCode::Char('A') => Some(Press::Long(Button::Act)),
        _ => None,
    };
    let action = match (press, key) {
        (Some(press), _) => Some(Action::Press(press)),
        (None, KeyCode::Char('p')) if world.wall_is_on() => Some(Action::Off),
        (None, KeyCode::Char('p')) => Some(Action::On),
        _ => None,
    };
    if let Some(action) = action {
        // Only typing a reply can fail, and no key does that.
        let _ = world.act(action);
        return true;
    }
    match key {
        KeyCode::Char('+' | '=') => controls.speed = (controls.speed + 1).min(SPEEDS.len() - 1),
        KeyCode::Char('-') => controls.speed = controls.speed.saturating_sub(1),
        KeyCode::Char(' ') => controls.paused = !controls.paused,
        KeyCode::Char('e') => controls.engineer = !controls.engineer,
        KeyCode::Char('q') | KeyCode::Esc => return false,
        _ => {}
    }
    true
}
