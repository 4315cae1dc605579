/** The one unit of time in the harness: cycles of the 125 MHz system clock, 8 ns each. */

/** Processor cycles in a µs. */
export const CYCLES_PER_US = 125;
/** Length of a cycle, ns. */
export const NS_PER_CYCLE = 8;

/**
 * @param {number} cycle
 * @returns {number} The same moment in µs, to 8 ns.
 */
export function usOf(cycle) {
  return cycle / CYCLES_PER_US;
}
