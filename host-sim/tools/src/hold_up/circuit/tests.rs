//! Worked values, an independent discharge in small steps, and properties.

use proptest::prelude::*;

use super::*;

/// Of ideal parts: no losses, no resistance, no factor.
fn ideal(warning_v: f64, lowest_v: f64, load: Load) -> Conditions {
    Conditions {
        warning_v,
        lowest_v,
        load,
        esr_mohm: 0.0,
        losses: Losses { tolerance_percent: 0.0, ageing_percent: 0.0, temperature_percent: 0.0 },
        reaction_ms: 20.0,
        safety_factor: 1.0,
    }
}

fn circuit(given: Conditions) -> Circuit {
    Circuit::new(given).expect("usable")
}

/// Charge balance, worked by hand: 470e-6 · 2.3 / 0.010 = 0.1081.
#[test]
fn a_470_uf_capacitor_from_5_to_2_7_v_carries_10_ma_for_108_1_ms() {
    let c = circuit(ideal(5.0, 2.7, Load::Current { ma: 10.0 }));
    assert!((c.hold_up_ms(Microfarads(470.0)) - 108.1).abs() < 1e-6);
}

/// Charge balance, worked by hand: 1000e-6 · 2.5 / 0.015 = 0.16667.
#[test]
fn a_1000_uf_capacitor_from_5_to_2_5_v_carries_15_ma_for_166_7_ms() {
    let c = circuit(ideal(5.0, 2.5, Load::Current { ma: 15.0 }));
    assert!((c.hold_up_ms(Microfarads(1_000.0)) - 166.667).abs() < 1e-3);
}

/// Energy balance, worked by hand: half of 100e-6 · (20² − 10²) is 15 mJ; 80 % of it is
/// 12 mJ, which is 100 mW for 120 ms.
#[test]
fn a_100_uf_capacitor_from_20_to_10_v_gives_100_mw_at_80_percent_for_120_ms() {
    let c = circuit(ideal(20.0, 10.0, Load::Power { mw: 100.0, efficiency_percent: 80.0 }));
    assert!((c.hold_up_ms(Microfarads(100.0)) - 120.0).abs() < 1e-9);
}

/// Losses multiply: 0.8 · 0.8 · 0.9 = 0.576; 20 ms · 2 · 10 mA / 2.3 V = 173.9 µF.
#[test]
fn losses_multiply_and_the_next_value_is_proposed() {
    let given = Conditions {
        losses: Losses::default(),
        safety_factor: 2.0,
        ..ideal(5.0, 2.7, Load::Current { ma: 10.0 })
    };
    let c = circuit(given);
    assert!((c.at_end_of_life(Microfarads(100.0)).0 - 57.6).abs() < 1e-9);
    assert!((c.needed().0 - 173.913 / 0.576).abs() < 1e-2);
    assert_eq!(c.proposal().expect("one").capacitance(), Microfarads(330.0));
}

#[test]
fn the_drop_in_the_series_resistance_is_taken_off() {
    let given = Conditions { esr_mohm: 50_000.0, ..ideal(5.0, 2.7, Load::Current { ma: 10.0 }) };
    let c = circuit(given);
    assert!((c.drop_v() - 0.5).abs() < 1e-12);
    assert!((c.hold_up_ms(Microfarads(470.0)) - 84.6).abs() < 1e-6);
}

#[test]
fn what_makes_no_sense_is_named() {
    let sound = ideal(5.0, 2.7, Load::Current { ma: 10.0 });
    let losses = |tolerance_percent, ageing_percent, temperature_percent| Conditions {
        losses: Losses { tolerance_percent, ageing_percent, temperature_percent },
        ..sound
    };
    let power = |mw, efficiency_percent| Conditions {
        load: Load::Power { mw, efficiency_percent },
        ..sound
    };
    for (given, figure) in [
        (Conditions { warning_v: f64::NAN, ..sound }, "warning-v"),
        (Conditions { warning_v: 230.0, ..sound }, "warning-v"),
        (Conditions { warning_v: 2.7, ..sound }, "warning-v"),
        (Conditions { lowest_v: 0.0, ..sound }, "lowest-v"),
        (Conditions { load: Load::Current { ma: 0.0 }, ..sound }, "load-ma"),
        (Conditions { load: Load::Current { ma: f64::INFINITY }, ..sound }, "load-ma"),
        (power(-1.0, 80.0), "load-mw"),
        (power(100.0, 101.0), "efficiency-percent"),
        (Conditions { esr_mohm: -1.0, ..sound }, "esr-mohm"),
        (Conditions { esr_mohm: 230_000.0, ..sound }, "esr-mohm"),
        (losses(100.0, 0.0, 0.0), "tolerance-percent"),
        (losses(0.0, -20.0, 0.0), "ageing-percent"),
        (losses(0.0, 0.0, f64::NAN), "temperature-percent"),
        (Conditions { reaction_ms: 0.0, ..sound }, "reaction-ms"),
        (Conditions { safety_factor: 0.5, ..sound }, "safety-factor"),
    ] {
        assert_eq!(Circuit::new(given).expect_err("unusable").figure, figure, "{given:?}");
    }
}

/// The discharge in small steps, from nothing but I = C·dV/dt and Ohm's law: how long the
/// terminals stay above the lowest voltage, ms.
fn in_steps(given: &Conditions, real: Microfarads) -> f64 {
    const STEP_MS: f64 = 0.01;
    let (mut inside_v, mut ms) = (given.warning_v, 0.0);
    let ohm = given.esr_mohm / 1_000.0;
    loop {
        let amps = match given.load {
            Load::Current { ma } => ma / 1_000.0,
            Load::Power { mw, efficiency_percent } => {
                let watts = mw / 1_000.0 / (efficiency_percent / 100.0);
                // Terminal voltage u with u·(inside − u)/R = watts, or inside with R = 0.
                if ohm > 0.0 {
                    let root = inside_v * inside_v - 4.0 * ohm * watts;
                    if root < 0.0 {
                        return ms;
                    }
                    (inside_v - root.sqrt()) / (2.0 * ohm)
                } else {
                    watts / inside_v
                }
            }
        };
        if inside_v - amps * ohm < given.lowest_v || ms > 1e5 {
            return ms;
        }
        inside_v -= amps * STEP_MS / 1_000.0 / (real.0 / 1e6);
        ms += STEP_MS;
    }
}

fn loads() -> impl Strategy<Value = Load> {
    prop_oneof![
        (1.0..200.0).prop_map(|ma| Load::Current { ma }),
        (10.0..1_000.0, 50.0..100.0)
            .prop_map(|(mw, efficiency_percent)| Load::Power { mw, efficiency_percent }),
    ]
}

prop_compose! {
    fn usable()(
        lowest_v in 1.8..12.0,
        above_v in 0.05..20.0,
        load in loads(),
        esr_mohm in prop_oneof![Just(0.0), 0.0..5_000.0],
        tolerance_percent in 0.0..50.0,
        ageing_percent in 0.0..50.0,
        temperature_percent in 0.0..50.0,
        reaction_ms in 0.1..1_000.0,
        safety_factor in 1.0..5.0,
    ) -> Conditions {
        Conditions {
            warning_v: lowest_v + above_v,
            lowest_v,
            load,
            esr_mohm,
            losses: Losses { tolerance_percent, ageing_percent, temperature_percent },
            reaction_ms,
            safety_factor,
        }
    }
}

proptest! {
    #[test]
    fn the_proposed_value_suffices_and_the_next_smaller_does_not(given in usable()) {
        let Ok(c) = Circuit::new(given) else { return Ok(()) };
        let Some(proposed) = c.proposal() else {
            prop_assert!(c.needed().0 > 1e6);
            return Ok(());
        };
        prop_assert!(c.suffices(proposed.capacitance()));
        prop_assert!(proposed.capacitance().0 >= c.needed().0 * (1.0 - 1e-12));
        if let Some(smaller) = proposed.smaller() {
            prop_assert!(!c.suffices(smaller.capacitance()));
        }
    }

    #[test]
    fn a_discharge_in_steps_lasts_as_long_or_a_little_longer(given in usable()) {
        let Ok(c) = Circuit::new(given) else { return Ok(()) };
        // About 50 ms, so that a step is a small part of it.
        let real = Microfarads(50.0 / c.ms_per_uf());
        let (formula, stepped) = (c.hold_up_ms(real), in_steps(&given, real));
        prop_assert!(stepped >= formula - 0.2, "{formula} {stepped}");
        if given.esr_mohm == 0.0 {
            prop_assert!((stepped - formula).abs() < 0.2, "{formula} {stepped}");
        }
    }
}
