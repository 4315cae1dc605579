//! The words on the screens, in German.

use super::{CareWords, FaultWords, HintWords, Words};

const OFF_AND_KNIFE: [&str; 3] =
    ["Vorsicht: abschalten,", "Stecker raus, warten.", "Messer sind scharf."];
const OFF_AND_NEEDLE: [&str; 3] =
    ["Vorsicht: abschalten,", "Stecker raus, warten.", "Nadeln sind spitz."];
const OFF_AND_MOVING: [&str; 3] =
    ["Vorsicht: abschalten,", "Netzstecker ziehen,", "Stillstand abwarten."];
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
    hints: "Zuerst prüfen",
    service: "Wartung",
    readout: "Ansagecode",
    journal: "Protokoll",
    faults: "Störungen",
    about: "Diese Platine",
    confirm: "Erledigt?",
    ask_engineer: "Technik fragen",
    reply: "Antwort",
    notice: "Ergebnis",

    of: "von",
    h: "h",
    lifetime: "Gesamt",
    nothing_due: "Keine Pflege geplant",
    not_known: "Stand unbekannt",
    due: "JETZT",
    service_name: "Wartung",

    stitches: "Stiche",
    unattributed: "ohne Nadel",
    jumps: "Sprünge",
    trims: "Schnitte",
    breaks: "Fadenrisse",
    running: "Laufzeit",
    powered: "Ein-Zeit",
    power_ups: "Starts",
    glitches: "Störimp.",
    missed_edges: "Verpasst",
    stated: "Angabe, nicht gezählt",

    needle: "Nadel",
    per_100k: "/100T",
    wear: "Ist",
    limit: "Max.",
    due_in: "Fällig",
    left: "Rest",
    units: ["h", "Stiche", "Schnitte", "Starts", "Tage"],
    days: "Tage",
    today: "heute",
    days_of_use: "Arb.tage",
    no_rate: "noch keine Schätzung",
    no_components: "Keine Pflege geplant",

    act_browse: "wählen",
    act_open: "öffnen",
    hold_renew: "halten: erledigt",
    hold_ask: "halten: fragen",
    hold_confirm: "halten: ja",
    act_enter: "Antwort eingeben",
    act_digit: "weiter     »: +1",
    hold_send: "halten: senden",
    act_hold_still: "groß, zum Ansagen",
    hold_date: "halten: stimmt",
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
    wrong_reply: "Falsch. Neu fragen.",
    wait: "Zu früh: noch",
    try_again: "Besetzt. Noch einmal.",
    not_ready: "Nicht bereit: Störung",
    ask_anew: "Zu alt. Neu fragen.",

    date: "Datum",
    authorised: "durch die Technik",
    no_entries: "Noch nichts",
    events: ["erneuert", "Wartung", "Seite aus", "Antwort", "Störung", "fällig"],
    no_faults: "Keine Störung",
    fault: [
        FaultWords {
            name: "Speicher stumm",
            todo: ["Neues geht beim Ab-", "schalten verloren.", "Speicherkabel prüfen."],
        },
        FaultWords {
            name: "Bus blockiert",
            todo: ["Neues geht beim Ab-", "schalten verloren.", "Leitungen prüfen."],
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
            todo: ["Speichert nicht mehr.", "Zahlen notieren,", "Technik rufen."],
        },
        FaultWords {
            name: "Ältere Kopie benutzt",
            todo: ["Letzte Pflege fehlt", "vielleicht. Liste", "prüfen."],
        },
        FaultWords {
            name: "Protokoll mit Lücke",
            todo: ["Ein Eintrag fehlt.", "Pflegeliste prüfen.", ""],
        },
        FaultWords {
            name: "Impulse verpasst",
            todo: ["Zähler etwas klein.", "Der Technik melden.", ""],
        },
        FaultWords {
            name: "Wellensignal gestört",
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
    spans: ["seit Start", "insgesamt", "seit Wechsel"],
    hint: [
        HintWords {
            name: "Nadel",
            todo: ["Fadenweg, Faden sitzt", "richtig? Dann Nadel."],
            seen: "Fadenrisse",
            against: "erwartet",
        },
        HintWords {
            name: "Alle Nadeln",
            todo: ["Greifer trocken?", "Staub? Faden?"],
            seen: "Fadenrisse",
            against: "erwartet",
        },
        HintWords {
            name: "Fadenschneider",
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
    hash: "Hashwert",
    retired: "Seiten defekt",
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
            name: "Bewegl. Messer",
            todo: ["Ersetzen, zum festen", "Messer einstellen."],
            caution: OFF_AND_KNIFE,
        },
        CareWords {
            name: "Greifer ölen",
            todo: ["Greiferbahn: ein Öl-", "tropfen. Probelauf."],
            caution: OFF_AND_MOVING,
        },
        CareWords {
            name: "Stichplatte",
            todo: ["Platte abnehmen,", "darunter auspinseln."],
            caution: OFF_AND_KNIFE,
        },
        CareWords {
            name: "Fadenspannung",
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
            todo: ["Auf Risse prüfen,", "spannen oder tauschen"],
            caution: MAINS,
        },
        CareWords {
            name: "Fadenschneider",
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
