//! Proof 9: an operator cannot reset the service interval. Replies that are guessed,
//! used, stale, foreign or missing are refused, and so is one that was given for another
//! purpose; a power cut gives no free try; the wait between tries survives cuts; challenges
//! come slowly.

use rand_core::{Rng, SeedableRng};
use rand_pcg::Pcg32;
use shaftbook_core::authority::{self, EightDigits, Key, Purpose};
use shaftbook_core::board::{Command, Effect};
use shaftbook_core::journal::ComponentSet;
use shaftbook_core::serial::Lap;
use shaftbook_core::service::{
    Authorised, CHALLENGE_LIFE_S, CHALLENGE_PAUSE_S, CHALLENGES_MAX, Refusal,
};

use super::Run;
use shaftbook_world::bench::device::Device;
use shaftbook_world::bench::{
    BELT, Bench, CommandFigures, KEY, KNIFE, OPERATORS, Recovered, any_needle,
};
use shaftbook_world::bus::Tear;

/// Tries that an operator can make in a year of powered time may have at most this
/// chance of one right guess among 10^8.
const YEAR_CHANCE: f64 = 1e-4;
/// Tries after which the wait is at its longest.
const SOME_TRIES: u32 = 24;
/// More tries than the board's own count of them holds.
const MOST_TRIES: u32 = 300;
/// For this long somebody asks for challenges, s.
const WHILE_S: u64 = 600;

/// Proof 9.
pub fn no_free_reset<D: Device>(run: &mut Run) {
    let mut rng = Pcg32::seed_from_u64(run.seed);
    let mut bench: Bench<D> = Bench::fitted(run.seed, Lap::new(1));
    bench.sew(any_needle(&mut rng), 50 + u64::from(rng.next_u32() % 500), 1_500_000, &mut |_| {});
    let start = bench.clone();
    run.case(|| missing_replies(&mut start.clone()));
    // The panel asks for one component at a time.
    if !D::HAS_PANEL {
        for _ in 0..4 {
            let seed = rng.next_u64();
            run.case(|| mixed_sets(&mut start.clone(), seed));
        }
        run.case(|| no_such_component(&mut start.clone()));
    }
    for kind in 0..6 {
        let seed = rng.next_u64();
        run.case(|| wrong_reply(&mut start.clone(), kind, seed));
    }
    // The panel asks for nothing but what its challenge is for.
    let first = if D::HAS_PANEL { OTHER_COMMANDS } else { 0 };
    for kind in first..OTHER_PURPOSES {
        run.case(|| other_purpose(&mut start.clone(), kind));
    }
    run.case(|| challenges_in_a_while(&mut start.clone()));
    cut_during_a_try(run, &start, &mut rng);
    if D::HAS_PANEL {
        // The waits are years: the bare core's.
        return;
    }
    let mut tries = 0.0;
    // In every second run a service comes first, and in one the tries of a year.
    let served = run.number % 2 == 1;
    let most = if run.number == 0 { MOST_TRIES } else { SOME_TRIES };
    run.case(|| guesses_in_a_year(&mut start.clone(), served, most).map(|t| tries = t));
    run.figure("guesses in a year:", tries);
}

fn unchanged<D: Device>(
    bench: &Bench<D>,
    start: &CommandFigures,
    what: &str,
) -> Result<(), String> {
    let now = CommandFigures::of(bench.board().ledger());
    if now == *start { Ok(()) } else { Err(format!("{what} changed {start:?} to {now:?}")) }
}

/// The engineer's components among the operator's: without a reply none of them is renewed.
fn mixed_sets<D: Device>(bench: &mut Bench<D>, seed: u64) -> Result<(), String> {
    let mut rng = Pcg32::seed_from_u64(seed);
    let engineers = [1 << KNIFE, 1 << BELT, 1 << KNIFE | 1 << BELT];
    let components =
        ComponentSet(engineers[rng.next_u32() as usize % 3] | rng.next_u32() & OPERATORS);
    let before = CommandFigures::of(bench.board().ledger());
    let answer = bench.request(Command::Renew { components, reply: None });
    bench.rest(&mut |_| {});
    unchanged(bench, &before, &format!("{components:?}"))?;
    match answer {
        Err(Refusal::NeedsAuthority) => Ok(()),
        other => Err(format!("{components:?} without a reply was answered {other:?}")),
    }
}

/// None at all, and places that the profile does not have, alone and beside one that it has.
fn no_such_component<D: Device>(bench: &mut Bench<D>) -> Result<(), String> {
    let before = CommandFigures::of(bench.board().ledger());
    let beyond = 1 << bench.board().ledger().components.len();
    for components in [0, beyond, 1 << 31, beyond | 1].map(ComponentSet) {
        let answer = bench.request(Command::Renew { components, reply: None });
        bench.rest(&mut |_| {});
        unchanged(bench, &before, &format!("{components:?}"))?;
        if answer != Err(Refusal::NoSuchComponent) {
            return Err(format!("{components:?}, which the profile lacks: {answer:?}"));
        }
    }
    Ok(())
}

/// Without any reply, as an operator would press it.
fn missing_replies<D: Device>(bench: &mut Bench<D>) -> Result<(), String> {
    let before = CommandFigures::of(bench.board().ledger());
    let knife = ComponentSet::only(KNIFE);
    let commands = [
        Command::Service { reply: None },
        Command::Renew { components: knife, reply: None },
        Command::Fit { fitting: shaftbook_world::bench::fitting(), reply: None },
    ];
    for command in commands {
        let name = format!("{command:.40?}");
        let answer = bench.request(command);
        bench.rest(&mut |_| {});
        unchanged(bench, &before, &name)?;
        if answer != Err(Refusal::NeedsAuthority) {
            return Err(format!("{name} without a reply was answered {answer:?}"));
        }
    }
    Ok(())
}

fn service<D: Device>(bench: &mut Bench<D>, reply: EightDigits) -> Result<(), Refusal> {
    let answer = bench.request(Command::Service { reply: Some(reply) });
    bench.rest(&mut |_| {});
    answer
}

/// 0 a guess, 1 a used reply, 2 a stale one, 3 another board's, 4 the reply to an
/// earlier challenge, 5 the right one at the second try at a challenge.
fn wrong_reply<D: Device>(bench: &mut Bench<D>, kind: u32, seed: u64) -> Result<(), String> {
    let mut rng = Pcg32::seed_from_u64(seed);
    let right = bench.right_reply(Authorised::Service).ok_or("no challenge")?;
    let reply = match kind {
        0 => EightDigits::new((right.get() + 1 + rng.next_u32() % 99_999_998) % EightDigits::END),
        1 => {
            service(bench, right).map_err(|r| format!("the right reply was refused: {r:?}"))?;
            if bench.board().ledger().services != 1 {
                return Err("the right reply did not make a service".into());
            }
            bench.right_reply(Authorised::Service).ok_or("no challenge")?;
            Some(right)
        }
        2 => {
            bench.pass_to(bench.now_us + (CHALLENGE_LIFE_S + 1) * 1_000_000, &mut |_| {});
            Some(right)
        }
        3 => {
            let challenge = bench.challenge(Authorised::Service).map_err(|r| format!("{r:?}"))?;
            let mut key = KEY;
            key[31] ^= 1;
            let services = bench.board().ledger().services;
            Some(authority::reply(&Key::new(key), Purpose::Service, services, challenge))
        }
        5 => {
            let wrong = EightDigits::new((right.get() + 1) % EightDigits::END);
            let _ = service(bench, wrong.unwrap_or(right));
            Some(right)
        }
        _ => {
            bench.sew(any_needle(&mut rng), 5, 400_000, &mut |_| {});
            bench.right_reply(Authorised::Service).ok_or("no challenge")?;
            Some(right)
        }
    }
    .ok_or("no reply")?;
    let before = CommandFigures::of(bench.board().ledger());
    let _ = service(bench, reply);
    unchanged(bench, &before, &format!("a wrong reply of kind {kind}"))
}

/// Kinds of [`other_purpose`] in which another command is asked for.
const OTHER_COMMANDS: u32 = 4;
/// All kinds of it.
const OTHER_PURPOSES: u32 = 7;

/// What the engineer allowed is not what is asked for. For kinds 0 to 3 the challenge was
/// opened, and rightly answered, for something else; from 4 on the challenge is the right
/// one and the reply is the engineer's for another purpose or service count.
fn other_purpose<D: Device>(bench: &mut Bench<D>, kind: u32) -> Result<(), String> {
    let knife = Authorised::Renew(ComponentSet::only(KNIFE));
    let belt = Authorised::Renew(ComponentSet::only(BELT));
    let (opened, asked) = match kind {
        0 => (knife, Authorised::Service),
        1 => (Authorised::Service, knife),
        2 => (knife, belt),
        3 => (knife, Authorised::Refit),
        _ => (Authorised::Service, Authorised::Service),
    };
    let challenge = bench.challenge(opened).map_err(|r| format!("{r:?}"))?;
    let services = bench.board().ledger().services;
    let (purpose, services) = match kind {
        4 => (Purpose::Renewal, services),
        5 => (Purpose::Refit, services),
        6 => (Purpose::Service, services + 1),
        _ => (opened.purpose(), services),
    };
    let reply = Some(authority::reply(&Key::new(KEY), purpose, services, challenge));
    let command = match asked {
        Authorised::Service => Command::Service { reply },
        Authorised::Renew(components) => Command::Renew { components, reply },
        Authorised::Refit => Command::Fit { fitting: shaftbook_world::bench::fitting(), reply },
    };
    let before = CommandFigures::of(bench.board().ledger());
    bench.effects.clear();
    let answer = bench.request(command);
    bench.rest(&mut |_| {});
    unchanged(bench, &before, &format!("a reply for another purpose, kind {kind},"))?;
    let refused = answer == Err(Refusal::OtherPurpose)
        || bench.effects.iter().any(|e| matches!(e, Effect::ReplyRefused));
    if refused { Ok(()) } else { Err(format!("kind {kind} was answered {answer:?}")) }
}

/// Somebody who has a used reply asks for challenges as fast as he can, hoping for the one
/// that it answers: how many does he get?
fn challenges_in_a_while<D: Device>(bench: &mut Bench<D>) -> Result<(), String> {
    let knife = Authorised::Renew(ComponentSet::only(KNIFE));
    let (start_us, mut given) = (bench.now_us, 0_u64);
    while bench.now_us - start_us < WHILE_S * 1_000_000 {
        given += u64::from(bench.challenge(knife).is_ok());
        bench.pass_to(bench.now_us + 200_000, &mut |_| {});
    }
    let most = u64::from(CHALLENGES_MAX) + WHILE_S / CHALLENGE_PAUSE_S + 1;
    if given == 0 || given > most {
        return Err(format!("{given} challenges in {WHILE_S} s, not 1 to {most}"));
    }
    Ok(())
}

/// The power is cut while a wrong try is being stored: either it is on record, or it
/// was not judged.
fn cut_during_a_try<D: Device>(run: &mut Run, start: &Bench<D>, rng: &mut Pcg32) {
    let mut bench = start.clone();
    let Some(right) = bench.right_reply(Authorised::Service) else { return };
    let wrong = EightDigits::new((right.get() + 1) % EightDigits::END).unwrap_or(right);
    let _ = bench.request(Command::Service { reply: Some(wrong) });
    let before = CommandFigures::of(bench.board().ledger());
    let seed = rng.next_u64();
    let mut image = Vec::new();
    bench.rest(&mut |bench: &Bench<D>| {
        let judged = bench.effects.iter().any(|e| matches!(e, Effect::ReplyRefused));
        let at_all_times = bench.bus.page_under_way().is_some() || judged;
        if !at_all_times || run.is_over() {
            return;
        }
        for tear in Tear::every(64, 2, seed).step_by(7) {
            run.case(|| {
                bench.cut_image(tear, &mut image);
                let after = Recovered::<D>::from_image(image.clone(), seed);
                unchanged(&after.bench, &before, "a cut try")?;
                if judged && after.bench.board().ledger().tries == 0 {
                    return Err("a judged try is not on record after a cut".into());
                }
                Ok(())
            });
        }
    });
}

/// An operator who tries without pause, cutting the power whenever he likes: how many
/// tries in a year?
fn guesses_in_a_year<D: Device>(
    bench: &mut Bench<D>,
    served: bool,
    most: u32,
) -> Result<f64, String> {
    if served {
        let right = bench.right_reply(Authorised::Service).ok_or("no challenge")?;
        service(bench, right).map_err(|r| format!("the right reply was refused: {r:?}"))?;
    }
    let services = u16::from(served);
    let mut tries = 0_u32;
    let mut spent_us = 0_u64;
    let mut start_us = bench.now_us;
    let mut cut_at = 0;
    // After some tries the wait is at its longest; the rest of the year is division.
    while tries < most {
        let Some(right) = bench.right_reply(Authorised::Service) else {
            return Err("no challenge".into());
        };
        let wrong = EightDigits::new((right.get() + 1) % EightDigits::END).unwrap_or(right);
        match bench.request(Command::Service { reply: Some(wrong) }) {
            Ok(()) => {
                tries += 1;
                bench.rest(&mut |_| {});
            }
            Err(Refusal::Wait { seconds }) => {
                if cut_at != tries {
                    // A cut does not shorten the wait.
                    cut_at = tries;
                    spent_us += bench.now_us - start_us;
                    let before = bench.board().ledger().tries;
                    bench.cut_and_power_up(Tear::Old);
                    let after = bench.board().ledger().tries;
                    if after < before {
                        return Err(format!("a cut made {after} of {before} tries on record"));
                    }
                    start_us = 0;
                    continue;
                }
                let wait_us = u64::from(seconds) * 1_000_000;
                // Long waits pass without the minute-by-minute work in between.
                bench.now_us += wait_us;
                bench.pass_to(bench.now_us, &mut |_| {});
            }
            Err(other) => return Err(format!("a try was answered {other:?}")),
        }
        if bench.board().ledger().services != services {
            return Err("a wrong guess made a service".into());
        }
    }
    let spent_s = (spent_us + bench.now_us - start_us) as f64 / 1e6;
    let year_s = 365.0 * 86_400.0;
    let longest_wait_s = shaftbook_core::service::LONGEST_WAIT_S as f64;
    let a_year = if spent_s > year_s / 20.0 {
        f64::from(tries) + (year_s - spent_s).max(0.0) / longest_wait_s
    } else {
        // No wait to speak of: the tries of this while, over the whole year.
        f64::from(tries) * year_s / spent_s.max(1.0)
    };
    if a_year / f64::from(EightDigits::END) > YEAR_CHANCE {
        return Err(format!("{a_year:.0} guesses in a year"));
    }
    Ok(a_year)
}
