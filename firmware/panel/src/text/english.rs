//! The words on the screens, in English.

use super::{CareWords, FaultWords, HintWords, Words};

const OFF_AND_KNIFE: [&str; 3] =
    ["Caution: switch off,", "unplug, wait for stop", "Knives cut: use tools"];
const OFF_AND_NEEDLE: [&str; 3] =
    ["Caution: switch off,", "unplug, wait for stop", "Needles are sharp"];
const OFF_AND_MOVING: [&str; 3] =
    ["Caution: switch off,", "unplug, wait for stop", "Keep hands clear"];
const MAINS: [&str; 3] = ["Caution: isolate the", "machine, lock it out.", "A trained person only"];

/// The words.
pub const WORDS: Words = Words {
    language: "English",
    separator: ',',
    decimal: '.',

    home: "Since service",
    counters: "Counters",
    needles: "Needles",
    care: "Care",
    hints: "Look here first",
    service: "Service",
    readout: "Read-out code",
    journal: "Journal",
    faults: "Faults",
    about: "This board",
    confirm: "Done?",
    ask_engineer: "Ask engineer",
    reply: "Reply",
    notice: "Result",

    of: "of",
    h: "h",
    lifetime: "Lifetime",
    nothing_due: "No care set up",
    not_known: "Past not known",
    due: "DUE",
    service_name: "Service",

    stitches: "Stitches",
    unattributed: "no needle",
    jumps: "Jumps",
    trims: "Trims",
    breaks: "Breaks",
    running: "Running",
    powered: "Powered",
    power_ups: "Power-ups",
    glitches: "Glitches",
    missed_edges: "Missed",
    stated: "Stated, not measured:",

    needle: "Needle",
    per_100k: "/100k",
    wear: "Worn",
    limit: "Limit",
    due_in: "Due in",
    left: "Left",
    units: ["h", "stitches", "trims", "starts", "days"],
    days: "days",
    today: "today",
    days_of_use: "workdays",
    no_rate: "no estimate yet",
    no_components: "No care is set up",

    act_browse: "choose",
    act_open: "open",
    hold_renew: "hold: I did this",
    hold_ask: "hold: ask engineer",
    hold_confirm: "hold: yes, done",
    act_enter: "type the reply",
    act_digit: "next digit   »: +1",
    hold_send: "hold: send",
    act_hold_still: "large, to read out",
    hold_date: "hold: date is right",
    hold_language: "hold: Deutsch",

    services_done: "Done so far",
    parts_renewed: "Renews parts",
    counts_powered: "counts powered time",
    counts_running: "counts running time",
    board: "Board",
    number: "Service",
    code: "Code",
    for_service: "For a service",
    for_renewal: "For a part renewed",
    for_fitting: "For a new fitting",

    working: "Saving ...",
    done: "Saved.",
    wrong_reply: "Wrong. Ask anew.",
    wait: "Too soon. Wait",
    try_again: "Busy. Try again.",
    not_ready: "Not ready: see faults",
    ask_anew: "Too old. Ask anew.",

    date: "Date",
    authorised: "by the engineer",
    no_entries: "Nothing yet",
    events: ["renewed", "service", "bad page", "reply tried", "fault", "due by day"],
    no_faults: "No faults",
    fault: [
        FaultWords {
            name: "Memory silent",
            todo: ["Counts now are lost", "at power-off. Check", "the memory's plug."],
        },
        FaultWords {
            name: "Bus stuck",
            todo: ["Counts now are lost", "at power-off. Check", "wires to the memory."],
        },
        FaultWords {
            name: "Wrong memory size",
            todo: ["Nothing is stored.", "Fit the memory that", "the board is made for"],
        },
        FaultWords {
            name: "Not fitted yet",
            todo: ["Counting, not storing", "An engineer fits the", "board first."],
        },
        FaultWords {
            name: "Other board's memory",
            todo: ["Nothing is stored.", "Put its own memory", "back, or fit anew."],
        },
        FaultWords {
            name: "Memory not readable",
            todo: ["Old counts unknown.", "Keep the memory, call", "the engineer."],
        },
        FaultWords {
            name: "Memory worn out",
            todo: ["Nothing more is kept", "Note the figures,", "call the engineer."],
        },
        FaultWords {
            name: "Older copy used",
            todo: ["Last settings or care", "may be missing. Check", "the care list."],
        },
        FaultWords {
            name: "Journal has a gap",
            todo: ["An entry is missing.", "Check the care list.", ""],
        },
        FaultWords {
            name: "Pulses missed",
            todo: ["Counts are a little", "low. Tell the", "engineer."],
        },
        FaultWords {
            name: "Shaft signal noisy",
            todo: ["Pulses are rejected.", "Check shaft sensor,", "gap and wires."],
        },
        FaultWords {
            name: "Board restarted",
            todo: ["It counts again. Tell", "the engineer if it", "comes back."],
        },
        FaultWords {
            name: "Clock silent",
            todo: ["Counts are safe. Care", "by days stands still.", "Check clock, battery."],
        },
        FaultWords {
            name: "Clock is wrong",
            todo: ["Counts are safe. Care", "by days stands still.", "Set the clock."],
        },
    ],

    no_sign: ["No sign of a fault", "in the counts."],
    strong: "hardly chance",
    possible: "worth a look",
    spans: ["since start", "in all", "since renewed"],
    hint: [
        HintWords {
            name: "Needle",
            todo: ["Thread path, thread", "seated? Then needle."],
            seen: "Its breaks",
            against: "expected",
        },
        HintWords {
            name: "Breaks on all",
            todo: ["Hook dry? Dust at the", "tension? Thread?"],
            seen: "Breaks",
            against: "expected",
        },
        HintWords {
            name: "Trimmer",
            todo: ["Clean it first, under", "the needle plate."],
            seen: "Trims",
            against: "limit",
        },
        HintWords {
            name: "Fixed knife",
            todo: ["It is clean: the", "knife may be worn."],
            seen: "Cuts",
            against: "limit",
        },
        HintWords {
            name: "Needle signal",
            todo: ["Needle never changes?", "Check sensor wiring."],
            seen: "Stitches",
            against: "without",
        },
        HintWords {
            name: "Shaft signal",
            todo: ["Pulses are rejected.", "Check sensor wiring."],
            seen: "Rejected",
            against: "expected",
        },
    ],

    measured: "Measured",
    stated_hours: "Stated",
    identity: "Id",
    version: "Version",
    hash: "Hash",
    retired: "Pages retired",
    laps: "Memory rounds",
    language_label: "Language",

    needle_care: CareWords {
        name: "Needle",
        todo: ["Put in a new needle,", "eye to the front."],
        caution: OFF_AND_NEEDLE,
    },
    kind: [
        CareWords {
            name: "Fixed knife",
            todo: ["Clean it; if it still", "trims badly, replace."],
            caution: OFF_AND_KNIFE,
        },
        CareWords {
            name: "Moving knife",
            todo: ["Replace it and set", "it to the fixed one."],
            caution: OFF_AND_KNIFE,
        },
        CareWords {
            name: "Hook oil",
            todo: ["One drop on the hook", "race, sew on a scrap."],
            caution: OFF_AND_MOVING,
        },
        CareWords {
            name: "Plate cleaning",
            todo: ["Take off the needle", "plate, brush it out."],
            caution: OFF_AND_KNIFE,
        },
        CareWords {
            name: "Tension dust",
            todo: ["Lift the thread, wipe", "discs and base clean."],
            caution: OFF_AND_MOVING,
        },
        CareWords {
            name: "Bobbin case",
            todo: ["Brush it out; check", "spring, or replace it"],
            caution: OFF_AND_MOVING,
        },
        CareWords {
            name: "Drive belt",
            todo: ["Look for cracks, set", "tension, or replace."],
            caution: MAINS,
        },
        CareWords {
            name: "Trimmer",
            todo: ["Brush out lint and", "thread ends."],
            caution: OFF_AND_KNIFE,
        },
    ],
    own_care: CareWords {
        name: "Own part",
        todo: ["See the workshop's", "own instruction."],
        caution: OFF_AND_MOVING,
    },
};
