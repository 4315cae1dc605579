#!/usr/bin/env node
/**
 * Interrupts the edge capture at every instruction: all interleavings of up to N interrupts
 * with the main loop of `firmware/boards/race`.
 *
 * The main loop runs alone once, and the whole state (registers, mask, RAM) is kept before
 * each instruction. From each of these states the interrupt is raised, and the program runs
 * to its end; on the way every state is kept again, handler included, and from each of them
 * the interrupt is raised once more; and so on. Each run must end with: pushed = popped +
 * missed, edges in order. Repeated for interrupts that push 1 to 5 edges into a queue of 3
 * places.
 *
 * On one core this is all there is: an interrupt comes between two instructions, runs to
 * its end, and cannot be interrupted by itself. Not shown: more interrupts than N within
 * three turns of the main loop; two cores; a second handler that pushes to the same queue
 * (the boards have one).
 *
 * Why not loom: it sees only what goes through its own types, and the queue (heapless) uses
 * the atomics of `core`. Here the linked program itself is run.
 *
 * Usage: node race.mjs [--interrupts N] ELF            must hold; N is 2 unless told
 *        node race.mjs --caught [--interrupts N] ELF   sabotage: must be caught
 *        node race.mjs --replay BURST:K,K… ELF         one interleaving, told
 * Exit code: 0 as it must be, 1 not, 2 the command line or the file is wrong.
 */

import { pathToFileURL } from 'node:url';
import { parseArgs } from 'node:util';
import { RP2040 } from 'rp2040js';
import { Elf } from './elf.mjs';

const VECTORS = 0x10000100;
const RAM_START = 0x20000000;
/** As in `memory.x` of the program. */
const RAM_BYTES = 2048;
/** The program's interrupt; one of those that clear themselves on entry. */
const IRQ = 26;
/** Edges that one interrupt pushes; the queue has 3 places. */
const BURSTS = [1, 2, 3, 4, 5];
/** No run is longer; one that is has hung. */
const STEPS_MAX = 100_000;

/** Phases, and the words of `RACE_RESULT`, as in `program.rs`. */
const [OPEN, DONE] = [1, 3];
const WORDS = ['phase', 'burst', 'pushed', 'popped', 'missed', 'disorder', 'interrupts', 'panics'];

/** What a core keeps outside its registers. */
const KEPT = [
  'bankedSP', 'eventRegistered', 'waiting', 'N', 'C', 'Z', 'V', 'PM', 'SPSEL', 'nPRIV',
  'currentMode', 'IPSR', 'interruptNMIMask', 'pendingInterrupts', 'enabledInterrupts',
  'pendingNMI', 'pendingPendSV', 'pendingSVCall', 'pendingSystick', 'interruptsUpdated',
];

/** The program on a core, with all its state at hand. */
export class Race {
  #rp = new RP2040();
  #result;

  /** @param {Elf} elf One of the programs of `firmware/boards/race`. */
  constructor(elf) {
    const rp = this.#rp;
    const fail = (_, message) => {
      throw new Error(`the emulator: ${message}`);
    };
    rp.logger = { debug() {}, info() {}, warn: fail, error: fail };
    rp.flash.set(elf.flash());
    rp.sram = new Uint8Array(RAM_BYTES);
    rp.sramView = new DataView(rp.sram.buffer);
    this.#result = elf.addressOf('RACE_RESULT') - RAM_START;
    rp.core.VTOR = VECTORS;
    rp.core.reset();
    this.#until(OPEN);
  }

  /** @param {number} edges How many edges each interrupt pushes from now on. */
  set burst(edges) {
    this.#rp.sramView.setUint32(this.#result + 4 * WORDS.indexOf('burst'), edges, true);
  }

  /** @returns {number} How far the program is. */
  get phase() {
    return this.#rp.sramView.getUint32(this.#result, true);
  }

  /** @returns {number} Address of the next instruction, unless an interrupt comes first. */
  get place() {
    return this.#rp.core.PC;
  }

  /** Whether an interrupt was raised and has not come yet. */
  get isPending() {
    return (this.#rp.core.pendingInterrupts & (1 << IRQ)) !== 0;
  }

  /** Raises the interrupt. */
  raise() {
    this.#rp.core.setInterrupt(IRQ, true);
  }

  /** One instruction; before it the interrupt's entry, if it is time. */
  step() {
    this.#rp.core.executeInstruction();
  }

  /** Runs to the end. @returns {Figures} */
  finish() {
    this.#until(DONE);
    return this.figures();
  }

  /** @returns {Figures} What the program has written down. */
  figures() {
    const word = (n) => this.#rp.sramView.getUint32(this.#result + 4 * n, true);
    return Object.fromEntries(WORDS.map((name, n) => [name, word(n)]));
  }

  /** @returns {State} Everything that decides how the program goes on. */
  keep() {
    const { core, sram } = this.#rp;
    return { registers: core.registers.slice(), ram: sram.slice(), rest: KEPT.map((name) => core[name]) };
  }

  /** @param {State} state Where to go on. */
  restore({ registers, ram, rest }) {
    const { core, sram } = this.#rp;
    core.registers.set(registers);
    sram.set(ram);
    KEPT.forEach((name, n) => (core[name] = rest[n]));
  }

  /**
   * Runs alone to the end.
   * @returns {State[]} The state before each instruction at which the interrupt may be
   *   raised.
   */
  states() {
    const found = [];
    for (let n = 0; this.phase !== DONE; n++) {
      if (n > STEPS_MAX) throw new Error('the program does not end');
      if (this.phase === OPEN) found.push(this.keep());
      this.step();
    }
    return found;
  }

  #until(phase) {
    for (let n = 0; this.phase !== phase; n++) {
      if (n > STEPS_MAX) throw new Error(`the program does not come to phase ${phase}`);
      this.step();
    }
  }
}

/**
 * What is wrong with a run's figures.
 * @param {Figures} figures
 * @param {number} raised How often the interrupt was raised.
 * @returns {string} Empty when all is well.
 */
export function wrong({ burst, pushed, popped, missed, disorder, interrupts, panics }, raised) {
  if (panics) return 'a panic';
  if (pushed !== popped + missed) return `${pushed} pushed, ${popped} popped, ${missed} missed`;
  if (disorder) return 'an edge out of order, or announced and not there';
  // Raised and let in, but not counted: then nothing was tried.
  if (pushed !== interrupts * burst || interrupts > raised) return `${interrupts} interrupts, ${pushed} pushed`;
  return '';
}

/**
 * Tries every interleaving of up to `depth` interrupts.
 * @param {Race} race At phase OPEN.
 * @param {number} depth
 * @param {Tried} tried Is counted up.
 * @returns {Generator<{name: string, why: string}>} Each that is wrong.
 */
export function* search(race, depth, tried) {
  const open = race.keep();
  for (const burst of BURSTS) {
    race.restore(open);
    race.burst = burst;
    yield* from(race, depth, tried, burst, []);
  }
}

/** Runs on from where the interrupt was raised last; then again, raising it once more. */
function* from(race, depth, tried, burst, places) {
  const states = places.length < depth ? race.states() : [];
  const figures = race.finish();
  tried.byInterrupts[places.length] += 1;
  tried.full += figures.missed > 0;
  const why = wrong(figures, places.length);
  if (why) yield { name: `${burst}:${places.join()}`, why };
  for (const [instructions, state] of states.entries()) {
    race.restore(state);
    // Raised twice before it could come is raised once.
    if (race.isPending) continue;
    race.raise();
    yield* from(race, depth, tried, burst, [...places, instructions]);
  }
}

/**
 * One interleaving again, told.
 * @param {string} name As `search` gives it: edges an interrupt; for each interrupt the
 *   instruction before which it is raised, counted from the one before.
 * @returns {string} What is wrong.
 */
export function replay(race, elf, name, say) {
  const [, burst, list] = /^(\d+):((?:\d+(?:,\d+)*)?)$/.exec(name) ?? [];
  if (!burst) throw new Error(`--replay ${name}: BURST:K,K… as it is printed`);
  const places = list.split(',').filter(Boolean).map(Number);
  race.burst = Number(burst);
  for (const instructions of places) {
    for (let n = 0; n < instructions; n++) race.step();
    if (race.phase !== OPEN) throw new Error(`--replay ${name}: the main loop is shorter`);
    say(`interrupt before 0x${race.place.toString(16)} ${elf.placeOf(race.place)}`);
    race.raise();
  }
  const figures = race.finish();
  for (const [word, value] of Object.entries(figures)) say(`${word} ${value}`);
  return wrong(figures, places.length);
}

const USAGE = 'usage: node race.mjs [--caught] [--interrupts N] [--replay BURST:K,K…] ELF';

function main(args) {
  const { values, positionals } = parseArgs({
    args,
    allowPositionals: true,
    options: {
      caught: { type: 'boolean', default: false },
      interrupts: { type: 'string', default: '2' },
      replay: { type: 'string' },
    },
  });
  const depth = Number(values.interrupts);
  if (positionals.length !== 1 || !Number.isInteger(depth) || depth < 1) throw new Error(USAGE);
  const [path] = positionals;
  const elf = Elf.read(path);
  const race = new Race(elf);
  if (values.replay !== undefined) {
    const why = replay(race, elf, values.replay, console.log);
    console.log(why ? `wrong: ${why}` : 'holds');
    return why ? 1 : 0;
  }
  const tried = { byInterrupts: Array(depth + 1).fill(0), full: 0 };
  let wrongs = 0;
  for (const { name, why } of search(race, depth, tried)) {
    if (wrongs === 0) {
      console.log(`${values.caught ? 'caught' : 'WRONG'}: ${why}`);
      console.log(`replay: node tests/rp2040/race.mjs --replay ${name} ${path}`);
    }
    wrongs += 1;
    if (!values.caught) break;
  }
  const counts = tried.byInterrupts.map((count, n) => `${count} of ${n}`).slice(1);
  const all = tried.byInterrupts.reduce((sum, count) => sum + count);
  console.log(
    `${all} interleavings (by interrupts: ${counts.join(', ')}); ` +
      `edges were missed in ${tried.full}; wrong: ${wrongs}`,
  );
  // A search that never filled the queue would prove nothing.
  return wrongs > 0 === values.caught && tried.full > 0 ? 0 : 1;
}

if (import.meta.url === pathToFileURL(process.argv[1] ?? '').href) {
  try {
    process.exitCode = main(process.argv.slice(2));
  } catch (error) {
    console.error(`race: ${error.message}`);
    process.exitCode = 2;
  }
}

/**
 * @typedef {{byInterrupts: number[], full: number}} Tried
 * @typedef {{registers: Uint32Array, ram: Uint8Array, rest: unknown[]}} State
 * @typedef {{phase: number, burst: number, pushed: number, popped: number, missed: number,
 *   disorder: number, interrupts: number, panics: number}} Figures
 */
