/**
 * Input scripts: text, one change a line, `<t_us> <signal> <value>`, in order of time.
 * Lines that begin with `#` and empty ones are comments.
 *
 * Signals are named as in captures: `shaft`, `trim`, `thread_break`, `jump`,
 * `power_fail`, `needle0` to `needle3` (1: asserted), `needle_mv` (mV at the tap),
 * `power` (1: the supply comes, 0: it is cut); beside them `button_back`, `button_next`,
 * `button_act` (1: pressed), `say` (a line typed at the service port) and `fault`, whose
 * value is one of {@link FAULTS} and what it takes.
 */

import { INPUT_PINS } from './pins.mjs';

/** Faults, and the form of what follows their names. */
export const FAULTS = new Map([
  ['part_missing', /^[01]$/],
  ['write_protect', /^[01]$/],
  ['scl_low', /^[01]$/],
  ['sda_low', /^\d+$/],
  ['display_missing', /^[01]$/],
  ['clock_missing', /^[01]$/],
  ['hardfault', /^$/],
  ['call', /^\S+$/],
]);

/**
 * @typedef {object} Change
 * @property {number} at_us
 * @property {string} signal
 * @property {string} value
 */

/**
 * @param {string} text
 * @returns {Change[]}
 * @throws {Error} That names the line and what is wrong with it.
 */
export function parseScript(text) {
  const changes = [];
  let last = 0;
  for (const [n, raw] of text.split('\n').entries()) {
    const line = raw.trim();
    if (line === '' || line.startsWith('#')) continue;
    const wrong = (what) => new Error(`script line ${n + 1}: ${what}: "${line}"`);
    const match = /^(\d+(?:\.\d+)?) +(\S+) *(.*)$/.exec(line);
    if (!match) throw wrong('not "<t_us> <signal> <value>"');
    const [, time, signal, value] = match;
    const at_us = Number(time);
    if (at_us < last) throw wrong('earlier than the line before');
    const problem = problemOf(signal, value);
    if (problem) throw wrong(problem);
    last = at_us;
    changes.push({ at_us, signal, value });
  }
  return changes;
}

function problemOf(signal, value) {
  if (signal === 'power' || INPUT_PINS.has(signal)) {
    return /^[01]$/.test(value) ? null : `${signal} is 0 or 1`;
  }
  if (signal === 'needle_mv') return /^\d{1,5}$/.test(value) ? null : 'needle_mv is a number of mV';
  if (signal === 'say') return value ? null : 'nothing to say';
  if (signal !== 'fault') return `no signal "${signal}"`;
  const [, name, rest] = /^(\S*) *(.*)$/.exec(value);
  const form = FAULTS.get(name);
  if (!form) return `no fault "${name}"; there are ${[...FAULTS.keys()].join(', ')}`;
  return form.test(rest) ? null : `${name} does not take "${rest}"`;
}
