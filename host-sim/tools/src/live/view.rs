//! How the live panel looks in a terminal: the display's pixels, the buttons as keys,
//! the machine's signals, the memory's pages.
//!
//! The pixels are half blocks when the terminal has room for 132 by 46 characters,
//! and braille dots otherwise; both show every pixel.

use ratatui::Frame as Terminal;
use ratatui::layout::{Constraint, Layout, Rect};
use ratatui::style::{Color, Modifier, Style};
use ratatui::text::{Line, Span, Text};
use ratatui::widgets::{Block, Paragraph, Wrap};
use shaftbook_core::input::Input;
use shaftbook_panel::frame::{Frame, HEIGHT, WIDTH};

use super::world::{Happened, Slot, World};
use crate::picture::text_of;
use shaftbook_world::figures::grouped;

/// Fewest columns and rows: the panel in braille dots, and the line of keys.
const SMALLEST: (u16, u16) = (66, 19);

/// Speeds that can be chosen: seconds of the machine in a second.
pub const SPEEDS: [u32; 6] = [1, 10, 60, 600, 3_600, 28_800];

/// The keys, in one line of 80 columns.
const KEYS: &str =
    "q: quit  b n a: back next act  B A: hold  p: power  e: engineer  + - space: time";

/// What is shown beside the world itself.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Controls {
    /// Place in [`SPEEDS`].
    pub speed: usize,
    /// Time stands still.
    pub paused: bool,
    /// The engineer's reply is shown.
    pub engineer: bool,
}

/// Draws everything.
pub fn render(terminal: &mut Terminal<'_>, world: &World, picture: &Frame, controls: Controls) {
    let area = terminal.area();
    if area.width < SMALLEST.0 || area.height < SMALLEST.1 {
        let (wide, high) = SMALLEST;
        let text = format!("make the window larger: {wide} by {high}, better 80 by 24; q: quit");
        terminal.render_widget(Paragraph::new(text).wrap(Wrap { trim: true }), area);
        return;
    }
    let large = area.width >= 132 && area.height >= 46;
    let (wide, high) = if large { (130, 34) } else { (66, 18) };
    let rows = [Constraint::Length(high), Constraint::Min(0), Constraint::Length(1)];
    let [upper, lower, foot] = Layout::vertical(rows).areas(area);
    terminal.render_widget(Paragraph::new(foot_line(world, controls)), foot);
    let [panel, side] =
        Layout::horizontal([Constraint::Length(wide), Constraint::Min(0)]).areas(upper);
    let text = if large { text_of(picture) } else { braille(picture) };
    let lit = if world.is_powered() { Color::Cyan } else { Color::DarkGray };
    let title = if world.is_powered() { " panel " } else { " panel: no power " };
    let pixels = Paragraph::new(text).style(Style::new().fg(lit).bg(Color::Black));
    terminal.render_widget(pixels.block(Block::bordered().title(title)), panel);
    if large {
        let [memory, log] =
            Layout::horizontal([Constraint::Length(66), Constraint::Min(0)]).areas(lower);
        render_memory(terminal, world, memory);
        render_log(terminal, world, log);
        render_side(terminal, world, controls, side);
    } else {
        render_side(terminal, world, controls, side);
        render_memory(terminal, world, lower);
    }
}

/// The keys; or the engineer on the telephone, whom a small window must not cut short.
fn foot_line(world: &World, controls: Controls) -> Line<'static> {
    if !controls.engineer {
        return Line::from(KEYS);
    }
    let said = world.engineers_reply().map_or_else(
        || String::from("engineer: no challenge is open"),
        |reply| format!("engineer: reply {:04} {:04}", reply.get() / 10_000, reply.get() % 10_000),
    );
    let style = Style::new().add_modifier(Modifier::BOLD);
    Line::from(vec![Span::styled(said, style), Span::raw("   e: back to the keys")])
}

fn render_side(terminal: &mut Terminal<'_>, world: &World, controls: Controls, area: Rect) {
    let speed = SPEEDS.get(controls.speed).copied().unwrap_or(1);
    let pace = if controls.paused { "paused".into() } else { format!("x {speed}") };
    let signals = world.signals();
    let needle = match signals.needle {
        Some(Input::NeedleCode(code)) => format!("code {code}"),
        Some(Input::NeedleLevel(mv)) => format!("{mv} mV"),
        _ => "-".into(),
    };
    let mark = |on: bool| if on { "on" } else { "-" };
    let mut lines = vec![
        Line::from(clock(world.at_us())),
        Line::from(format!("speed {pace}")),
        Line::from(""),
        Line::from(format!("shaft  {} rpm", grouped(signals.rpm))),
        Line::from(format!("needle {needle}")),
        Line::from(format!("trim   {}", mark(signals.trim))),
        Line::from(format!("break  {}", mark(signals.thread_break))),
        Line::from(format!("jump   {}", mark(signals.jump))),
    ];
    if world.is_over() {
        lines.push(Line::from("the scenario is over"));
    }
    let log = area.height.saturating_sub(lines.len() as u16 + 2);
    lines.extend(world.log().rev().take(usize::from(log)).map(log_line));
    terminal.render_widget(Paragraph::new(lines).block(Block::bordered().title(" machine ")), area);
}

fn render_log(terminal: &mut Terminal<'_>, world: &World, area: Rect) {
    let room = usize::from(area.height.saturating_sub(2));
    let lines: Vec<Line<'_>> = world.log().rev().take(room).map(log_line).collect();
    terminal.render_widget(Paragraph::new(lines).block(Block::bordered().title(" log ")), area);
}

fn log_line(happened: &Happened) -> Line<'_> {
    let Happened { at_us, what, times } = happened;
    let times = if *times > 1 { format!(" x {times}") } else { String::new() };
    Line::from(format!("{} {what}{times}", clock(*at_us)))
}

/// One character a page: darker is more program cycles for the hottest page.
fn render_memory(terminal: &mut Terminal<'_>, world: &World, area: Rect) {
    let slots = world.memory();
    let wide = usize::from(area.width.saturating_sub(2)).clamp(1, 64);
    let lines: Vec<Line<'_>> = slots
        .chunks(wide)
        .map(|row| row.iter().map(|slot| page(*slot)).collect::<Line<'_>>())
        .collect();
    let title =
        format!(" memory: {} pages; darker: more written; N newest; R retired ", slots.len());
    let memory = Paragraph::new(Text::from(lines)).block(Block::bordered().title(title));
    terminal.render_widget(memory, area);
}

fn page(slot: Slot) -> Span<'static> {
    match slot {
        Slot::Newest => Span::styled("N", Style::new().fg(Color::Black).bg(Color::Yellow)),
        Slot::Retired => Span::styled("R", Style::new().fg(Color::Red)),
        Slot::Worn(level) => Span::raw(match level {
            0 => "·",
            1..=3 => "░",
            4..=5 => "▒",
            6..=7 => "▓",
            _ => "█",
        }),
    }
}

/// Day and time of day of simulated time.
fn clock(at_us: u64) -> String {
    let s = at_us / 1_000_000;
    let (day, h, min) = (s / 86_400 + 1, s / 3_600 % 24, s / 60 % 60);
    format!("d{day} {h:02}:{min:02}:{:02}", s % 60)
}

/// Braille patterns (Unicode block 2800): a character is 2 by 4 pixels.
fn braille(picture: &Frame) -> String {
    const DOTS: [[u32; 2]; 4] = [[0x01, 0x08], [0x02, 0x10], [0x04, 0x20], [0x40, 0x80]];
    let mut text = String::new();
    for y in (0..HEIGHT).step_by(4) {
        for x in (0..WIDTH).step_by(2) {
            let mut pattern = 0x2800;
            for (dy, row) in DOTS.iter().enumerate() {
                for (dx, dot) in row.iter().enumerate() {
                    pattern |= if picture.is_lit(x + dx, y + dy) { *dot } else { 0 };
                }
            }
            text.push(char::from_u32(pattern).unwrap_or(' '));
        }
        text.push('\n');
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::live::action::Action;
    use ratatui::Terminal;
    use ratatui::backend::TestBackend;
    use shaftbook_core::authority::{KEY_BYTES, Key};
    use shaftbook_core::board::Fitting;
    use shaftbook_core::ledger::CarriedIn;
    use shaftbook_world::profile::Profile;
    use shaftbook_world::scenario::Scenario;

    fn world() -> World {
        let text = include_str!("../../../scenarios/six-needle-shop.toml");
        let scenario = Scenario::parse("shop", text).unwrap();
        let fitting = Fitting {
            settings: scenario.settings(),
            components: Profile::builtin(6).components(false),
            carried_in: CarriedIn::default(),
            key: Key::new([0x5A; KEY_BYTES]),
        };
        World::new(&scenario, 1, fitting).unwrap()
    }

    fn shown(world: &mut World, wide: u16, high: u16) -> Vec<String> {
        shown_with(world, wide, high, Controls::default())
    }

    fn shown_with(world: &mut World, wide: u16, high: u16, controls: Controls) -> Vec<String> {
        let mut terminal = Terminal::new(TestBackend::new(wide, high)).unwrap();
        let picture = world.display();
        terminal.draw(|frame| render(frame, world, &picture, controls)).unwrap();
        let cells = terminal.backend().buffer().content();
        cells
            .chunks(usize::from(wide))
            .map(|row| row.iter().map(ratatui::buffer::Cell::symbol).collect())
            .collect()
    }

    #[test]
    fn every_pixel_is_in_the_terminal_at_both_sizes() {
        let mut world = world();
        world.act(Action::Wait(600)).unwrap();
        let picture = world.display();
        let lit = (0..HEIGHT * WIDTH).filter(|n| picture.is_lit(n % WIDTH, n / WIDTH)).count();
        assert!(lit > 1_000, "{lit}");
        let braille: u32 = shown(&mut world, 80, 24)[1..17]
            .iter()
            .flat_map(|row| row.chars())
            .filter(|c| ('\u{2800}'..='\u{28ff}').contains(c))
            .map(|c| (c as u32 - 0x2800).count_ones())
            .sum();
        assert_eq!(braille as usize, lit);
        let blocks: usize = shown(&mut world, 140, 50)[1..33]
            .iter()
            .flat_map(|row| row.chars().take(129))
            .map(|c| match c {
                '█' => 2,
                '▀' | '▄' => 1,
                _ => 0,
            })
            .sum();
        assert_eq!(blocks, lit);
    }

    #[test]
    fn power_memory_and_keys_are_shown() {
        let mut world = world();
        world.act(Action::Wait(600)).unwrap();
        let text = shown(&mut world, 100, 30).join("\n");
        assert!(text.contains("512 pages") && text.contains('N') && text.contains("q: quit"));
        world.act(Action::Off).unwrap();
        let text = shown(&mut world, 100, 30).join("\n");
        assert!(text.contains("no power") && text.contains("power cut"), "{text}");
    }

    #[test]
    fn the_engineers_reply_is_whole_in_every_window() {
        let mut world = world();
        let controls = Controls { engineer: true, ..Controls::default() };
        world.act(Action::Wait(600)).unwrap();
        let none = shown_with(&mut world, 66, 19, controls).join("\n");
        assert!(none.contains("no challenge is open"), "{none}");
        for word in ["home", "next", "next", "next", "next", "next", "hold"] {
            world.act(word.parse().unwrap()).unwrap();
        }
        let reply = world.engineers_reply().expect("a challenge is open").get();
        let reply = format!("reply {:04} {:04}", reply / 10_000, reply % 10_000);
        for (wide, high) in [(66, 19), (80, 24), (140, 50)] {
            let text = shown_with(&mut world, wide, high, controls).join("\n");
            assert!(text.contains(&reply), "{text}");
        }
    }

    #[test]
    fn a_terminal_of_any_size_is_drawn() {
        let mut world = world();
        for (wide, high) in [(1, 1), (10, 3), (66, 18), (300, 100)] {
            shown(&mut world, wide, high);
        }
        assert!(shown(&mut world, 65, 40).join("").contains("make the window larger"));
        assert!(shown(&mut world, 66, 18).join("").contains("make the window larger"));
        assert!(!shown(&mut world, 66, 19).join("").contains("make the window larger"));
    }
}
