//! German.

use super::{CareWords, FaultWords, HintWords, Words};

const OFF_AND_KNIFE: [&str; 3] =
    ["Vorsicht: abschalten,", "Netzstecker ziehen.", "Messer: Werkzeug!"];
const OFF_AND_NEEDLE: [&str; 3] =
    ["Vorsicht: abschalten,", "Netzstecker ziehen.", "Nadeln sind spitz."];
const OFF_AND_MOVING: [&str; 3] =
    ["Vorsicht: abschalten,", "Netzstecker ziehen.", "Finger weg vom Lauf."];
const MAINS: [&str; 3] = ["Vorsicht: vom Netz", "trennen, sichern. Nur", "durch Fachpersonal."];

/// The words.
pub const WORDS: Words = Words {
    language: "Deutsch",
    separator: '.',
    decimal: ',',

    home: "Seit Wartung",
    counters: "Zähler",
    needles: "Nadeln",
    care: "Pflege",
    hints: "Zuerst ansehen",
    service: "Wartung",
    readout: "Ansagecode",
    journal: "Tagebuch",
    faults: "Störungen",
    about: "Diese Platine",
    confirm: "Erledigt?",
    ask_engineer: "Technik fragen",
    reply: "Antwort",
    notice: "Ergebnis",

    of: "von",
    h: "h",
    lifetime: "Gesamt",
    nothing_due: "Keine Pflege hinterl.",
    not_known: "Stand unbekannt",
    due: "JETZT",
    service_name: "Wartung",

    stitches: "Stiche",
    unattributed: "ohne Nadel",
    jumps: "Sprünge",
    trims: "Schnitte",
    breaks: "Risse",
    running: "Lauf",
    powered: "Ein",
    power_ups: "Starts",
    glitches: "Störimp.",
    missed_edges: "Verpasst",
    stated: "Angabe, nicht gezählt",

    needle: "Nadel",
    per_100k: "/100T",
    wear: "Stand",
    limit: "Grenze",
    due_in: "Fällig",
    left: "Rest",
    units: ["h", "Stiche", "Schnitte", "Starts", "Tage"],
    days: "Tage",
    today: "heute",
    days_of_use: "Arb.tage",
    no_rate: "noch keine Schätzung",
    no_components: "Keine Pflege hinterl.",

    act_browse: "wählen",
    act_open: "öffnen",
    hold_renew: "halten: erledigt",
    hold_ask: "halten: fragen",
    hold_confirm: "halten: ja",
    act_enter: "Antwort eingeben",
    act_digit: "weiter     »: +1",
    hold_send: "halten: senden",
    act_hold_still: "groß, zum Ansagen",
    hold_language: "halten: English",

    services_done: "Bisher",
    parts_renewed: "Teile neu",
    counts_powered: "zählt Einschaltzeit",
    counts_running: "zählt Laufzeit",
    board: "Platine",
    number: "Wartung",
    code: "Code",
    for_service: "Für eine Wartung",
    for_renewal: "Für ein neues Teil",
    for_fitting: "Für neue Einrichtung",

    working: "Speichert ...",
    done: "Gespeichert.",
    wrong_reply: "Antwort ist falsch.",
    wait: "Zu früh. Warte",
    try_again: "Belegt. Noch einmal.",
    not_ready: "Nicht bereit: Störung",
    ask_anew: "Zu alt. Neu fragen.",

    date: "Datum",
    authorised: "durch die Technik",
    no_entries: "Noch nichts",
    events: ["erneuert", "Wartung", "Seite aus", "Antwort", "Störung", "nach Tagen"],
    no_faults: "Keine Störung",
    fault: [
        FaultWords {
            name: "Speicher stumm",
            todo: ["Neues geht beim Aus", "verloren. Stecker am", "Speicher prüfen."],
        },
        FaultWords {
            name: "Bus blockiert",
            todo: ["Neues geht beim Aus", "verloren. Leitungen", "prüfen."],
        },
        FaultWords {
            name: "Falscher Speicher",
            todo: ["Nichts wird gespei-", "chert. Passenden nach", "Plan einsetzen."],
        },
        FaultWords {
            name: "Nicht eingerichtet",
            todo: ["Zählt ohne Speichern.", "Erst muss die Technik", "einrichten."],
        },
        FaultWords {
            name: "Fremder Speicher",
            todo: ["Nichts wird gespei-", "chert. Eigenen ein-", "setzen."],
        },
        FaultWords {
            name: "Speicher unlesbar",
            todo: ["Stand unbekannt.", "Speicher aufheben,", "Technik rufen."],
        },
        FaultWords {
            name: "Speicher verbraucht",
            todo: ["Nichts bleibt mehr.", "Zahlen notieren,", "Technik rufen."],
        },
        FaultWords {
            name: "Ältere Kopie benutzt",
            todo: ["Letzte Pflege fehlt", "vielleicht. Liste", "prüfen."],
        },
        FaultWords {
            name: "Tagebuch mit Lücke",
            todo: ["Ein Eintrag fehlt.", "Pflegeliste prüfen.", ""],
        },
        FaultWords {
            name: "Impulse verpasst",
            todo: ["Zähler etwas klein.", "Der Technik melden.", ""],
        },
        FaultWords {
            name: "Wellensignal unruhig",
            todo: ["Impulse verworfen.", "Geber, Abstand und", "Leitung prüfen."],
        },
        FaultWords {
            name: "Neustart der Platine",
            todo: ["Sie zählt wieder. Bei", "Wiederholung der", "Technik melden."],
        },
        FaultWords {
            name: "Uhr stumm",
            todo: ["Zähler sind sicher.", "Tage stehen still.", "Uhr, Batterie prüfen."],
        },
        FaultWords {
            name: "Uhr geht falsch",
            todo: ["Zähler sind sicher.", "Tage stehen still.", "Uhr stellen."],
        },
    ],

    no_sign: ["Kein Anzeichen in den", "Zählern."],
    strong: "kaum Zufall",
    possible: "möglich",
    spans: ["seit Start", "insgesamt", "seit neu"],
    hint: [
        HintWords {
            name: "Nadel",
            todo: ["Fadenweg, Faden sitzt", "richtig? Dann Nadel."],
            seen: "Ihre Risse",
            against: "erwartet",
        },
        HintWords {
            name: "Risse überall",
            todo: ["Greifer trocken?", "Staub? Faden?"],
            seen: "Risse",
            against: "erwartet",
        },
        HintWords {
            name: "Schneider",
            todo: ["Zuerst reinigen, auch", "unter der Platte."],
            seen: "Schnitte",
            against: "Grenze",
        },
        HintWords {
            name: "Festes Messer",
            todo: ["Gereinigt: Messer ist", "wohl stumpf."],
            seen: "Schnitte",
            against: "Grenze",
        },
        HintWords {
            name: "Nadelsignal",
            todo: ["Wechselt die Nadel?", "Leitung prüfen."],
            seen: "Stiche",
            against: "ohne",
        },
        HintWords {
            name: "Wellensignal",
            todo: ["Impulse verworfen.", "Leitung prüfen."],
            seen: "Verworfen",
            against: "erwartet",
        },
    ],

    measured: "Gezählt",
    stated_hours: "Angabe",
    identity: "Nr",
    version: "Version",
    retired: "Seiten aus",
    laps: "Umläufe",
    language_label: "Sprache",

    needle_care: CareWords {
        name: "Nadel",
        todo: ["Neue Nadel einsetzen,", "Öhr nach vorn."],
        caution: OFF_AND_NEEDLE,
    },
    kind: [
        CareWords {
            name: "Festes Messer",
            todo: ["Reinigen; schneidet", "es schlecht: tauschen"],
            caution: OFF_AND_KNIFE,
        },
        CareWords {
            name: "Bew. Messer",
            todo: ["Ersetzen, zum festen", "Messer einstellen."],
            caution: OFF_AND_KNIFE,
        },
        CareWords {
            name: "Greiferöl",
            todo: ["Ein Tropfen auf die", "Bahn, Probe sticken."],
            caution: OFF_AND_MOVING,
        },
        CareWords {
            name: "Stichplatte",
            todo: ["Platte abnehmen,", "darunter auspinseln."],
            caution: OFF_AND_KNIFE,
        },
        CareWords {
            name: "Spannungsstaub",
            todo: ["Faden abheben,", "Scheiben abwischen."],
            caution: OFF_AND_MOVING,
        },
        CareWords {
            name: "Spulenkapsel",
            todo: ["Auspinseln; Feder", "prüfen oder ersetzen."],
            caution: OFF_AND_MOVING,
        },
        CareWords {
            name: "Antriebsriemen",
            todo: ["Auf Risse prüfen,", "spannen, ersetzen."],
            caution: MAINS,
        },
        CareWords {
            name: "Schneider",
            todo: ["Flusen und Faden-", "reste auspinseln."],
            caution: OFF_AND_KNIFE,
        },
    ],
    own_care: CareWords {
        name: "Sonderteil",
        todo: ["Siehe Anweisung der", "Werkstatt."],
        caution: OFF_AND_MOVING,
    },
};
