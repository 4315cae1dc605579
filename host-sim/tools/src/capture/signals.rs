//! Which variable of a capture is which input of the board.

use vcd::{IdCode, VarType};

use super::header::Variable;
use shaftbook_world::input_error::InputError;

/// Names of the signals, as a person gives them: a variable's name, or its whole path
/// with dots when the name alone stands for several.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Names {
    /// Main-shaft sensor.
    pub shaft: String,
    /// Thread trimmer.
    pub trim: Option<String>,
    /// Needle code: 1 to 4 lines, line 0 first, or one variable of up to 4 bits.
    pub needle: Vec<String>,
    /// Needle-position voltage: a real or a whole number.
    pub needle_level: Option<String>,
    /// Whether that voltage is in V, not in mV.
    pub level_in_volts: bool,
    /// Thread break.
    pub thread_break: Option<String>,
    /// Jump.
    pub jump: Option<String>,
    /// Power-fail warning.
    pub power_fail: Option<String>,
    /// Supply of the board: 1 powered, 0 cut. Without it the board has power from the
    /// beginning of the capture to its end.
    pub power: Option<String>,
    /// Which of the signals above are active when low. Given by the capture's name.
    pub active_low: Vec<String>,
}

/// What a digital variable is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SignalLine {
    /// Main-shaft sensor.
    Shaft,
    /// Thread trimmer.
    Trim,
    /// Thread break.
    ThreadBreak,
    /// Jump.
    Jump,
    /// Power-fail warning.
    PowerFail,
    /// Supply.
    Power,
    /// Needle code, from this bit on.
    Code(u8),
    /// Needle-position voltage.
    Level,
}

/// A variable of the capture that is used.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Used {
    /// Its code in the value changes.
    pub code: IdCode,
    /// What it is.
    pub line: SignalLine,
    /// Its width, bits.
    pub bits: u32,
    /// Whether it is active when low.
    pub active_low: bool,
}

/// Finds every name of `names` among the `variables`; `place` is used in errors.
///
/// # Errors
/// A name that is not there (with those that are), stands for several variables, or
/// is of the wrong kind.
pub fn find(variables: &[Variable], names: &Names, place: &str) -> Result<Vec<Used>, InputError> {
    let mut used = Vec::new();
    let mut low: Vec<&String> = names.active_low.iter().collect();
    let mut add = |name: &str, line: SignalLine, bits_max: u32| -> Result<u32, InputError> {
        let var = named(variables, name, place)?;
        let is_number = !matches!(var.kind, VarType::Real | VarType::String);
        if (line != SignalLine::Level && !is_number) || var.kind == VarType::String {
            return Err(InputError::new(place, format!("signal \"{name}\" is not a digital one")));
        }
        if is_number && !(1..=bits_max).contains(&var.bits) {
            let what = format!("signal \"{name}\" is {} bits wide, not 1 to {bits_max}", var.bits);
            return Err(InputError::new(place, what));
        }
        low.retain(|other| *other != name);
        let active_low = names.active_low.iter().any(|other| other == name);
        used.push(Used { code: var.code, line, bits: var.bits, active_low });
        Ok(var.bits)
    };
    add(&names.shaft, SignalLine::Shaft, 1)?;
    let optional = [
        (&names.trim, SignalLine::Trim),
        (&names.thread_break, SignalLine::ThreadBreak),
        (&names.jump, SignalLine::Jump),
        (&names.power_fail, SignalLine::PowerFail),
        (&names.power, SignalLine::Power),
    ];
    for (name, line) in optional {
        if let Some(name) = name {
            add(name, line, 1)?;
        }
    }
    let mut bit = 0;
    for name in &names.needle {
        let left = 4 - u32::from(bit);
        if left == 0 {
            return Err(InputError::new(place, "the needle code has at most 4 lines"));
        }
        bit += add(name, SignalLine::Code(bit), left)? as u8;
    }
    if let Some(name) = &names.needle_level {
        add(name, SignalLine::Level, 64)?;
    }
    if let Some(name) = low.first() {
        let what = format!("signal \"{name}\" is said to be active low, but is not used");
        return Err(InputError::new(place, what));
    }
    Ok(used)
}

/// The one variable called `name`.
fn named<'a>(all: &'a [Variable], name: &str, place: &str) -> Result<&'a Variable, InputError> {
    let by_path: Vec<_> = all.iter().filter(|v| v.path == name).collect();
    let found =
        if by_path.is_empty() { all.iter().filter(|v| v.name == name).collect() } else { by_path };
    match found.as_slice() {
        [variable] => Ok(variable),
        [] => {
            let mut there: Vec<&str> = all.iter().map(|v| v.name.as_str()).collect();
            there.sort_unstable();
            there.dedup();
            let what = if there.is_empty() {
                format!("no signal \"{name}\": the capture has none at all")
            } else {
                format!("no signal \"{name}\"; there are: {}", there.join(", "))
            };
            Err(InputError::new(place, what))
        }
        several => {
            let paths: Vec<&str> = several.iter().map(|v| v.path.as_str()).collect();
            let what = format!("\"{name}\" stands for several: {}", paths.join(", "));
            Err(InputError::new(place, what))
        }
    }
}
