/**
 * How long the board needs from the power-fail warning to counts that are durable.
 *
 * The warning's edge opens an answer, the next loss of supply, or the next edge, closes
 * it. The page cycle that makes the counts durable is the last one that ended before the
 * board said `durable` at its service port (it does when it was told `watch`); without
 * that line it is the last one that ended while the answer was open.
 */

import { CYCLES_PER_US, usOf } from './time.mjs';

/**
 * @typedef {object} Reaction
 * @property {number} edge_us When the warning came.
 * @property {{page: number, begin_us: number, end_us: number}[]} program_cycles Page
 *   cycles that began after it, in µs after the edge.
 * @property {number|null} line_us When the board began to say `durable`, µs after the edge.
 * @property {number|null} durable_us End of the cycle that made the counts durable, µs
 *   after the edge; null when there was none.
 * @property {number|null} durable_cycles The same in processor cycles.
 */

/** Keeps the answers to all warnings of a run. */
export class Reactions {
  #open = null;
  #closed = [];

  /** The warning's edge. @param {number} cycle */
  warned(cycle) {
    this.ended(cycle);
    this.#open = { edge: cycle, programs: [], lineCycle: null };
  }

  /** A page cycle begins. @param {import('./eeprom.mjs').ProgramCycle} program */
  programmed(program) {
    this.#open?.programs.push(program);
  }

  /** The board has said something. @param {import('./uart.mjs').Line} line */
  said({ at_us, text }) {
    if (this.#open && this.#open.lineCycle === null && text.startsWith('durable ')) {
      this.#open.lineCycle = at_us * CYCLES_PER_US;
    }
  }

  /** The supply goes, or the run ends. @param {number} cycle */
  ended(cycle) {
    if (!this.#open) return;
    const { edge, programs, lineCycle } = this.#open;
    const until = lineCycle ?? cycle;
    const durable = programs.findLast(({ endCycle }) => endCycle <= until);
    this.#closed.push({
      edge_us: usOf(edge),
      program_cycles: programs.map(({ page, beginCycle, endCycle }) => ({
        page,
        begin_us: usOf(beginCycle - edge),
        end_us: usOf(endCycle - edge),
      })),
      line_us: lineCycle === null ? null : usOf(lineCycle - edge),
      durable_us: durable ? usOf(durable.endCycle - edge) : null,
      durable_cycles: durable ? durable.endCycle - edge : null,
    });
    this.#open = null;
  }

  /** @returns {Reaction[]} All that have ended. */
  all() {
    return this.#closed;
  }
}
