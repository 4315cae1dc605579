/**
 * Looks on while the image runs: how long interrupts take and wait, how long they are
 * masked, how deep the stack goes.
 *
 * Invariant: it changes nothing that the image can see but the RAM between statics and
 * stack, which is painted before the first instruction after a power-up.
 *
 * Cycles are the emulator's: see README.md for how far they are the silicon's.
 */

import { FIRST_IRQ_EXCEPTION, HARD_FAULT, RAM_START, SYS_TICK } from './chip.mjs';
import { usOf } from './time.mjs';

const PAINT = 0xc5c5c5c5;
/** Called once a turn of the main loop: from call to call, sleep left out, is a turn. */
const TURN = 'shaftbook_mainloop::main_loop::MainLoop<R>::count';
/** How many of the longest masked stretches are told. */
const WORST = 10;

/** What is measured of a run. */
export class Measure {
  /** The processor cycle it is; set by who runs the machine. @type {() => number} */
  now = () => 0;

  #elf;
  #stack;
  #deepest;
  #raisedAt = new Map();
  #active = [];
  #interrupts = new Map();
  #masked = null;
  #stretches = new Map();
  #turn = { entry: null, cycle: null, asleep: 0, count: 0, longest: 0, at: 0 };

  /** @param {import('./elf.mjs').Elf} elf The image's symbols. */
  constructor(elf) {
    this.#elf = elf;
    const top = elf.symbols.get('_stack_start')?.address;
    if (top === undefined) throw new Error('the ELF file has no symbol "_stack_start"');
    const ends = ['__euninit', '__ebss', '__edata'].map((name) => elf.symbols.get(name)?.address);
    const bottom = ends.find((address) => address !== undefined && address <= top) ?? RAM_START;
    this.#stack = { top, bottom };
    this.#deepest = top;
    if (elf.has(TURN)) this.#turn.entry = elf.addressOf(TURN);
  }

  /** An interrupt line became active. @param {number} irq */
  raised(irq) {
    if (!this.#raisedAt.has(irq)) this.#raisedAt.set(irq, this.now());
  }

  /** It is no longer: nothing waits. @param {number} irq */
  lowered(irq) {
    this.#raisedAt.delete(irq);
  }

  /** @param {number} exception */
  entered(exception) {
    const now = this.now();
    const irq = exception - FIRST_IRQ_EXCEPTION;
    const waited = now - (this.#raisedAt.get(irq) ?? now);
    this.#raisedAt.delete(irq);
    this.#active.push({ exception, begin: now });
    const seen = this.#seen(exception);
    seen.count += 1;
    seen.waitMax = Math.max(seen.waitMax, waited);
  }

  /** @param {number} exception */
  left(exception) {
    const { begin } = this.#active.pop();
    const seen = this.#seen(exception);
    seen.max = Math.max(seen.max ?? 0, this.now() - begin);
  }

  /** After each instruction. @param {object} core */
  stepped(core) {
    if (core.PC === this.#turn.entry) this.#turned(this.now());
    if (core.PM === (this.#masked !== null)) return;
    if (core.PM) this.#masked = { cycle: this.now(), pc: core.PC };
    else this.#unmasked(core.PC, this.now());
  }

  /** Sleep does not count: a wake-up in it is taken up at once. */
  slept(core, fromCycle, toCycle) {
    this.#turn.asleep += toCycle - fromCycle;
    if (!this.#masked) return;
    if (fromCycle > this.#masked.cycle) this.#unmasked(core.PC, fromCycle);
    this.#masked = { cycle: toCycle, pc: core.PC };
  }

  /** Before the first instruction after a power-up: paints. @param {Uint8Array} ram */
  poweredUp(ram) {
    this.#wordsOf(ram).fill(PAINT);
    this.#turn.cycle = null;
    this.#masked = null;
    this.#active = [];
    this.#raisedAt.clear();
  }

  /** While the RAM is still there: looks how deep the stack went. @param {Uint8Array} ram */
  poweringDown(ram) {
    const words = this.#wordsOf(ram);
    const untouched = words.findIndex((word) => word !== PAINT);
    const deepest = untouched < 0 ? this.#stack.top : this.#stack.bottom + 4 * untouched;
    this.#deepest = Math.min(this.#deepest, deepest);
  }

  /** A reset with the supply up: what was under way is over. */
  reset() {
    this.#turn.cycle = null;
    this.#masked = null;
    this.#active = [];
    this.#raisedAt.clear();
  }

  /**
   * @param {Uint8Array|null} ram The RAM as it is now; null while the supply is off.
   * @returns {object} As `README.md` describes it.
   */
  result(ram) {
    if (ram) this.poweringDown(ram);
    const { top, bottom } = this.#stack;
    const stretches = [...this.#stretches.values()].sort((a, b) => b.cycles - a.cycles);
    const bySlowest = [...this.#interrupts.entries()].sort((a, b) => b[1].max - a[1].max);
    return {
      interrupts: bySlowest.map(([exception, { count, max, waitMax }]) => ({
        name: nameOf(exception),
        irq: exception >= FIRST_IRQ_EXCEPTION ? exception - FIRST_IRQ_EXCEPTION : null,
        count,
        longest_cycles: max,
        longest_wait_cycles: waitMax,
      })),
      longest_masked_cycles: stretches[0]?.cycles ?? 0,
      masked: stretches.slice(0, WORST).map(({ cycles, count, from, to }) => ({
        cycles,
        count,
        from: this.#elf.placeOf(from),
        to: this.#elf.placeOf(to),
      })),
      turns: {
        count: this.#turn.count,
        longest_cycles: this.#turn.longest,
        at_us: usOf(this.#turn.at),
      },
      stack: {
        room_bytes: top - bottom,
        deepest_bytes: top - this.#deepest,
        is_full: this.#deepest === bottom,
      },
    };
  }

  /** A turn of the main loop begins. */
  #turned(cycle) {
    const turn = this.#turn;
    if (turn.cycle !== null) {
      turn.count += 1;
      const cycles = cycle - turn.cycle - turn.asleep;
      if (cycles > turn.longest) [turn.longest, turn.at] = [cycles, cycle];
    }
    [turn.cycle, turn.asleep] = [cycle, 0];
  }

  #unmasked(pc, cycle) {
    const cycles = cycle - this.#masked.cycle;
    const key = `${this.#masked.pc}-${pc}`;
    const seen = this.#stretches.get(key);
    if (seen) {
      seen.count += 1;
      seen.cycles = Math.max(seen.cycles, cycles);
    } else {
      this.#stretches.set(key, { cycles, count: 1, from: this.#masked.pc, to: pc });
    }
    this.#masked = null;
  }

  #seen(exception) {
    if (!this.#interrupts.has(exception)) {
      this.#interrupts.set(exception, { count: 0, max: null, waitMax: 0 });
    }
    return this.#interrupts.get(exception);
  }

  #wordsOf(ram) {
    const { top, bottom } = this.#stack;
    return new Uint32Array(ram.buffer, bottom - RAM_START, (top - bottom) >> 2);
  }
}

function nameOf(exception) {
  if (exception >= FIRST_IRQ_EXCEPTION) return `irq ${exception - FIRST_IRQ_EXCEPTION}`;
  if (exception === HARD_FAULT) return 'hard fault';
  return exception === SYS_TICK ? 'SysTick' : `exception ${exception}`;
}
