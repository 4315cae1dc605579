/**
 * The whole bench: the board with its image, the parts on its bus, a terminal at its
 * port, and hands at its inputs and its supply.
 *
 * Invariants: same inputs, same bytes; a loss of supply takes RAM, display and bus state,
 * never the part's cells or the clock chip's time.
 */

import { Bus } from './bus.mjs';
import { ClockChip } from './ds3231.mjs';
import { Eeprom, PAGE_BYTES } from './eeprom.mjs';
import { Machine } from './machine.mjs';
import { Display } from './oled.mjs';
import { BUS_PINS, BUZZER_PIN, INPUT_PINS, Inputs, LAMP_PIN, Output } from './pins.mjs';
import { Reactions } from './reaction.mjs';
import { drawTear } from './tear.mjs';
import { CYCLES_PER_US, usOf } from './time.mjs';
import { Terminal } from './uart.mjs';

const EEPROM_ADDRESS = 0x50;
const DISPLAY_ADDRESS = 0x3c;
const CLOCK_ADDRESS = 0x68;

/**
 * @typedef {object} CutDetails What a loss of supply fell into.
 * @property {number} at_us
 * @property {number} cycle
 * @property {string} phase What the part was doing: `idle`, `address`, `read`, `write` or
 *   `program`.
 * @property {number|null} page Page of the program cycle under way.
 * @property {string} tear What was left of that page.
 * @property {number} program_cycles Begun since the run's beginning.
 */

/** A bench. */
export class Bench {
  /** Losses of supply so far. @type {CutDetails[]} */
  cuts = [];

  #elf;
  #seed;
  #reactions = new Reactions();
  #programs = [];

  /**
   * @param {object} options
   * @param {Uint8Array} options.flash
   * @param {Uint8Array} [options.part] What the EEPROM holds; blank without.
   * @param {number} [options.seed] From which all noise is drawn.
   * @param {[number, number]} [options.busyUs] Shortest and longest program cycle, µs.
   * @param {string|null} [options.clock] Date and time of the clock chip at 0 µs; null:
   *   its battery was empty; absent: no clock chip.
   * @param {boolean} [options.hasDisplay]
   * @param {'boot2'|'vectors'} [options.start]
   * @param {import('./measure.mjs').Measure} [options.measure]
   * @param {import('./elf.mjs').Elf} [options.elf] For `fault call`.
   */
  constructor({ flash, part, seed = 1, busyUs, clock, hasDisplay = true, start, measure, elf }) {
    this.#elf = elf;
    this.#seed = seed;
    const machine = new Machine({ flash, start, seed });
    const nowUs = () => usOf(machine.cycle);
    this.machine = machine;
    this.eeprom = new Eeprom({ image: part, now: () => machine.cycle, seed, busyUs });
    this.display = new Display(seed);
    this.display.isMissing = !hasDisplay;
    this.clock = new ClockChip({ start: clock ?? null, nowUs });
    this.clock.isMissing = clock === undefined;
    const parts = new Map([
      [EEPROM_ADDRESS, this.eeprom],
      [DISPLAY_ADDRESS, this.display],
      [CLOCK_ADDRESS, this.clock],
    ]);
    this.bus = new Bus({ parts, pins: BUS_PINS });
    this.inputs = new Inputs();
    this.lamp = new Output(LAMP_PIN, nowUs);
    this.buzzer = new Output(BUZZER_PIN, nowUs);
    this.terminal = new Terminal(machine, nowUs);
    const wired = [this.inputs, this.lamp, this.buzzer, this.bus, this.terminal];
    machine.onReset.push((chip) => wired.forEach((it) => it.attach(chip)));
    machine.onGone.push((why) => wired.forEach((it) => it.gone(why)));
    this.eeprom.onProgram = (program) => {
      this.#programs.push(program);
      this.#reactions.programmed(program);
    };
    this.terminal.onLine = (line) => this.#reactions.said(line);
    if (measure) {
      measure.now = () => machine.cycle;
      machine.probe = measure;
    }
  }

  /** Runs until `us` µs after the beginning. @param {number} us */
  runUntilUs(us) {
    this.machine.run(Math.round(us * CYCLES_PER_US));
  }

  /**
   * Plans the changes of a script.
   * @param {import('./script.mjs').Change[]} changes
   * @param {number} [fromUs] What their times are counted from.
   */
  plan(changes, fromUs = 0) {
    for (const change of changes) {
      const cycle = Math.round((fromUs + change.at_us) * CYCLES_PER_US);
      this.machine.at(cycle, () => this.apply(change));
    }
  }

  /** Puts every input to rest. */
  restInputs() {
    for (const name of INPUT_PINS.keys()) this.inputs.set(name, false);
    this.inputs.setNeedleMv(0);
  }

  /** Lets a change happen now. @param {{signal: string, value: string}} change */
  apply({ signal, value }) {
    if (INPUT_PINS.has(signal)) {
      const isActive = value === '1';
      if (signal === 'power_fail' && isActive) this.#reactions.warned(this.machine.cycle);
      this.inputs.set(signal, isActive);
      return;
    }
    switch (signal) {
      case 'needle_mv':
        this.inputs.setNeedleMv(Number(value));
        break;
      case 'power':
        if (value === '1') this.powerUp();
        else this.cut();
        break;
      case 'say':
        this.terminal.say(value);
        break;
      default:
        this.#fault(...value.split(/ +/));
    }
  }

  #fault(name, value) {
    const isOn = value === '1';
    switch (name) {
      case 'part_missing':
        this.eeprom.isMissing = isOn;
        break;
      case 'write_protect':
        this.eeprom.isWriteProtected = isOn;
        break;
      case 'scl_low':
        this.bus.holdScl(isOn);
        break;
      case 'sda_low':
        this.bus.holdSda(Number(value));
        break;
      case 'display_missing':
        this.display.isMissing = isOn;
        break;
      case 'clock_missing':
        this.clock.isMissing = isOn;
        break;
      case 'hardfault':
        this.machine.injectHardFault();
        break;
      default:
        if (!this.#elf) throw new Error('fault call: needs the ELF file (--elf)');
        this.machine.injectCall(this.#elf.addressOf(value));
    }
  }

  /** The supply comes, if it is not there. */
  powerUp() {
    if (this.machine.chip) return;
    this.display.powerUp();
    this.machine.powerUp();
  }

  /**
   * The tear that a cut at this moment leaves, by the seed.
   * @returns {import('./tear.mjs').Tear}
   */
  drawTear() {
    return drawTear(BigInt(this.#seed) * 0x10001n + BigInt(this.machine.cycle), PAGE_BYTES);
  }

  /**
   * What a cut at this moment would fall into. Changes nothing.
   * @param {import('./tear.mjs').Tear} tear
   * @returns {CutDetails}
   */
  cutDetails(tear) {
    return {
      at_us: usOf(this.machine.cycle),
      cycle: this.machine.cycle,
      phase: this.eeprom.phase,
      page: this.eeprom.pageUnderWay,
      tear: tear.name,
      program_cycles: this.#programs.length,
    };
  }

  /**
   * The supply goes, if it is there.
   * @param {import('./tear.mjs').Tear} [tear] What is left of a page under way; drawn from
   *   the seed without.
   */
  cut(tear = this.drawTear()) {
    if (!this.machine.chip) return;
    this.cuts.push(this.cutDetails(tear));
    this.#reactions.ended(this.machine.cycle);
    this.eeprom.cut(tear);
    this.machine.powerDown();
  }

  /**
   * What the run has shown.
   * @returns {object} As `README.md` describes it.
   */
  result() {
    const { machine, eeprom, terminal, bus } = this;
    this.#reactions.ended(machine.cycle);
    const pages = [...eeprom.cyclesByPage.entries()].filter(([, cycles]) => cycles > 0);
    return {
      end_us: usOf(machine.cycle),
      cycles: machine.cycle,
      asleep_cycles: machine.asleepCycles,
      boots: machine.boots,
      resets: machine.resets.map(({ cycle, reason }) => ({ at_us: usOf(cycle), reason })),
      is_locked_up: machine.chip?.isLockedUp ?? false,
      uart: terminal.lines,
      uart_lost_bytes: terminal.lostBytes,
      uart_unheard_bytes: terminal.unheardBytes,
      lamp: this.lamp.changes,
      buzzer: this.buzzer.changes,
      screen: {
        is_on: this.display.settings.isOn,
        text: this.display.text(),
        unknown_commands: this.display.unknownCommands,
      },
      program_cycles: {
        total: this.#programs.length,
        by_page: Object.fromEntries(pages),
        log: this.#programs.map(({ page, beginCycle, endCycle }) => [page, beginCycle, endCycle]),
      },
      bus_refusals: Object.fromEntries(bus.refusals),
      bus_pulses: bus.pulsesSeen,
      cuts: this.cuts,
      power_fail: this.#reactions.all(),
      complaints: Object.fromEntries(machine.complaints),
    };
  }
}
