/**
 * The board's processor over time: power up, run, reset, power down; and the events of
 * the world around it, each at its processor cycle.
 *
 * Invariants: same inputs, same bytes: nothing here asks the host's clock. The cycle
 * count never goes back, not over a reset and not while the supply is off. An event comes
 * at the first end of an instruction at or after its cycle.
 *
 * Not modelled: see README.md.
 */

import { Chip, VECTORS } from './chip.mjs';
import { Events } from './events.mjs';
import { Pcg32 } from './random.mjs';

const RAM_BYTES = 264 * 1024;

/**
 * @typedef {object} Probe Looks on while the processor runs (see `measure.mjs`).
 * @property {(irq: number) => void} raised
 * @property {(irq: number) => void} lowered
 * @property {(exception: number) => void} entered
 * @property {(exception: number) => void} left
 * @property {(core: object) => void} stepped After each instruction.
 * @property {(core: object, fromCycle: number, toCycle: number) => void} slept
 * @property {(ram: Uint8Array) => void} poweredUp Before the first instruction.
 * @property {(ram: Uint8Array) => void} poweringDown While the RAM is still there.
 * @property {() => void} reset At a reset with the supply up.
 */

const NO_WATCH = { raised() {}, lowered() {}, entered() {}, left() {} };

/** A processor with its flash, and the world's events. */
export class Machine {
  /** The chip since its last reset; null while the supply is off. @type {Chip|null} */
  chip = null;
  /** Told of each new chip, to wire it up. @type {((chip: Chip) => void)[]} */
  onReset = [];
  /** Told before a chip goes away. @type {((why: 'power'|'reset') => void)[]} */
  onGone = [];
  /** Resets without loss of supply. @type {{cycle: number, reason: string}[]} */
  resets = [];
  /** What the emulator complained of, and how often. @type {Map<string, number>} */
  complaints = new Map();
  /** Cycles spent asleep. */
  asleepCycles = 0;
  /** Power-ups so far. */
  boots = 0;
  /** @type {Probe|null} */
  probe = null;

  #flash;
  #start;
  #random;
  #events = new Events();
  #baseCycle = 0;
  #limit = 0;
  #jump = null;

  /**
   * @param {object} options
   * @param {Uint8Array} options.flash What the flash holds, from 0x10000000 on.
   * @param {'boot2'|'vectors'} [options.start] Where the core starts.
   * @param {number} [options.seed] From which the RAM's noise at power-up is drawn.
   */
  constructor({ flash, start = 'boot2', seed = 1 }) {
    this.#flash = flash;
    this.#start = start;
    this.#random = new Pcg32(seed, 0x5a3);
  }

  /** @returns {number} The processor cycle it is, from 0 at the beginning. */
  get cycle() {
    return this.chip ? this.#baseCycle + this.chip.core.cycles : this.#baseCycle;
  }

  /**
   * Plans an event. One whose cycle has passed comes at the next chance.
   * @param {number} cycle
   * @param {() => void} act
   */
  at(cycle, act) {
    this.#events.plan(cycle, act);
    if (cycle - this.#baseCycle < this.#limit) this.#limit = cycle - this.#baseCycle;
  }

  /** Forgets all events to come. */
  forget() {
    this.#events.clear();
  }

  /** The supply comes: noise in RAM, a chip in its reset state. */
  powerUp() {
    if (this.chip) return;
    const ram = new Uint8Array(RAM_BYTES);
    const words = new Uint32Array(ram.buffer);
    // A cheap sequence; only its beginning is drawn.
    let word = this.#random.nextU32() | 1;
    for (let n = 0; n < words.length; n++) {
      word = Math.imul(word, 1664525) + 1013904223;
      words[n] = word;
    }
    this.boots += 1;
    this.probe?.poweredUp(ram);
    this.#newChip(ram);
  }

  /** The supply goes: RAM and registers are lost. */
  powerDown() {
    if (!this.chip) return;
    for (const tell of this.onGone) tell('power');
    this.probe?.poweringDown(this.chip.rp.sram);
    this.#baseCycle = this.cycle;
    this.#limit = 0;
    this.chip = null;
  }

  /** A hard fault comes out of nothing, as after a flipped bit in the program. */
  injectHardFault() {
    if (!this.chip) return;
    this.chip.core.PC += 2; // the instruction that did not run
    this.chip.enterHardFault();
  }

  /**
   * The program goes astray: at the next instruction of thread mode the function at
   * `address` is called, its first four arguments the address of the vector table, so that
   * a function that looks at where they point reads something.
   * @param {number} address
   */
  injectCall(address) {
    this.#jump = address & ~1;
    this.#limit = 0;
  }

  /**
   * Runs until `untilCycle`, or the end of the instruction that is under way then.
   * @param {number} untilCycle
   */
  run(untilCycle) {
    const now = () => this.cycle;
    this.#events.fireDue(now);
    while (this.cycle < untilCycle) {
      const next = Math.min(untilCycle, this.#events.nextCycle);
      if (this.chip) {
        this.#limit = next - this.#baseCycle;
        this.#runChip(this.chip);
      } else {
        this.#baseCycle = next;
      }
      this.#events.fireDue(now);
    }
  }

  #newChip(ram) {
    const chip = new Chip({
      flash: this.#flash,
      ram,
      start: this.#start,
      watch: this.probe ?? NO_WATCH,
      complaints: this.complaints,
    });
    this.chip = chip;
    for (const wire of this.onReset) wire(chip);
  }

  /** A reset with the supply up: RAM, scratch registers and the reason stay. */
  #reset() {
    const { rp, watchdog, resetAsked } = this.chip;
    for (const tell of this.onGone) tell('reset');
    this.probe?.reset();
    this.resets.push({ cycle: this.cycle, reason: resetAsked });
    this.#baseCycle = this.cycle;
    this.#limit = 0;
    this.#newChip(rp.sram);
    this.chip.watchdog.scratchData.set(watchdog.scratchData);
    this.chip.watchdog.reason = watchdog.reason;
  }

  #runChip(chip) {
    const { core } = chip;
    const { probe } = this;
    while (core.cycles < this.#limit) {
      if (core.waiting || chip.isLockedUp) {
        this.#sleep(chip);
      } else {
        if (this.#jump !== null && core.IPSR === 0) this.#takeJump(core);
        core.executeInstruction();
        if (chip.isFaulting) chip.enterHardFault();
        if (probe !== null) probe.stepped(core);
        chip.keepTime();
      }
      if (chip.resetAsked !== null) {
        this.#reset();
        return;
      }
    }
  }

  #takeJump(core) {
    core.registers.fill(VECTORS, 0, 4);
    core.LR = core.PC | 1;
    core.PC = this.#jump;
    this.#jump = null;
  }

  /** Skips to what comes next, unless something is there already. */
  #sleep(chip) {
    const { core, clock } = chip;
    if (!chip.isLockedUp && (chip.hasWakeUp || this.#jump !== null)) {
      core.waiting = false;
      core.interruptsUpdated = true;
      return;
    }
    const alarm = clock.nextAlarm;
    const alarmCycle = alarm === null ? Infinity : Math.ceil(alarm.nanos / 8);
    const from = core.cycles;
    core.cycles = Math.max(from, Math.min(this.#limit, alarmCycle));
    this.asleepCycles += core.cycles - from;
    this.probe?.slept(core, this.#baseCycle + from, this.#baseCycle + core.cycles);
    chip.keepTime();
  }
}
