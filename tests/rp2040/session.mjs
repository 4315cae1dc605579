/**
 * One run by its specification: what is loaded, what happens, what comes out.
 *
 * A run with cuts to try (`cut_at_cycles`) is sewn once: at each of those cycles the bytes
 * that a cut would leave in the part are taken, and each of them is then booted on a bench
 * of its own. A cut takes everything else, so this is the same as to run, cut and boot for
 * each of them.
 */

import { readFileSync, writeFileSync } from 'node:fs';
import { Bench } from './bench.mjs';
import { Elf } from './elf.mjs';
import { flashOfUf2 } from './image.mjs';
import { Measure } from './measure.mjs';
import { parseScript } from './script.mjs';
import { tearOf } from './tear.mjs';
import { CYCLES_PER_US } from './time.mjs';

/** How long the supply stays away between a cut and the boot after it, µs. */
const OFF_US = 100_000;

/**
 * @typedef {object} Spec
 * @property {string|string[]} uf2 Path of the image; or paths of files that are copied into
 *   the flash one after the other.
 * @property {string} [elf] Path of its ELF file, for symbols.
 * @property {string} [script] Path of the input script.
 * @property {string} [after] Path of the script after the cut: its times count from the
 *   power-up after the cut; inputs are at rest.
 * @property {string} [part] Path of what the part holds; blank without.
 * @property {string} [part_out] Path of what it holds at the end.
 * @property {number} [seed] 1 without.
 * @property {string} [tear] What each cut leaves of a page under way; drawn without.
 * @property {number} [cut_at_cycle] The supply goes at this processor cycle.
 * @property {number[]} [cut_at_cycles] Cuts to try, each on its own.
 * @property {number} [until_us] End of the run, in the time of the last script; without, the
 *   time of its last line.
 * @property {boolean} [measure] Measures interrupts, masked stretches and stack.
 * @property {number} [busy_us] Length of each program cycle; 3 to 5 ms, drawn, without.
 * @property {string|null} [clock] Clock chip: see {@link Bench}.
 * @property {boolean} [display] Whether there is a display; true without.
 * @property {'boot2'|'vectors'} [start]
 */

const KEYS = new Set([
  ...['uf2', 'elf', 'script', 'after', 'part', 'part_out', 'seed', 'tear', 'cut_at_cycle'],
  ...['cut_at_cycles', 'until_us', 'measure', 'busy_us', 'clock', 'display', 'start'],
]);

/** Runs specifications; files are read once. */
export class Sessions {
  #cache = new Map();

  /**
   * @param {Spec} spec
   * @param {(done: number, all: number) => void} [progress] Told of each cut tried.
   * @returns {object} As `README.md` describes it.
   * @throws {Error} For a specification or a file that is wrong.
   */
  run(spec, progress = () => {}) {
    for (const key of Object.keys(spec)) {
      if (!KEYS.has(key)) throw new Error(`a run has no "${key}"; it has ${[...KEYS].join(', ')}`);
    }
    if (!spec.uf2?.length) throw new Error('which image? Name its UF2 file (uf2)');
    const script = spec.script ? this.#script(spec.script) : [];
    const after = spec.after ? this.#script(spec.after) : null;
    const tear = spec.tear ? tearOf(spec.tear) : undefined;
    const measure = spec.measure ? new Measure(this.#elfOf(spec)) : undefined;
    const part = spec.part ? new Uint8Array(readFileSync(spec.part)) : undefined;
    const bench = this.#bench(spec, part, measure);
    start(bench, script);
    const tried = this.#sew(bench, spec, { script, after, tear });
    const result = bench.result();
    if (measure) result.measure = measure.result(bench.machine.chip?.rp.sram ?? null);
    if (spec.cut_at_cycles) result.tried = this.#boot(spec, tried, after ?? [], progress);
    if (spec.part_out) writeFileSync(spec.part_out, bench.eeprom.image());
    return result;
  }

  /** Runs the script, with its cuts; what the cuts to try leave. */
  #sew(bench, spec, { script, after, tear }) {
    const tried = [];
    for (const cycle of [...(spec.cut_at_cycles ?? [])].sort((a, b) => a - b)) {
      bench.machine.run(cycle);
      const leaves = tear ?? bench.drawTear();
      tried.push({ cut: bench.cutDetails(leaves), part: bench.eeprom.imageAfterCut(leaves) });
    }
    if (spec.cut_at_cycle === undefined) {
      bench.runUntilUs(spec.until_us ?? endOf(script));
      return tried;
    }
    bench.machine.run(spec.cut_at_cycle);
    bench.machine.forget();
    bench.cut(tear);
    if (after) {
      const upUs = bench.machine.cycle / CYCLES_PER_US + OFF_US;
      bench.restInputs();
      bench.runUntilUs(upUs);
      bench.powerUp();
      bench.plan(after, upUs);
      bench.runUntilUs(upUs + (spec.until_us ?? endOf(after)));
    }
    return tried;
  }

  /** Boots what each tried cut has left. */
  #boot(spec, tried, after, progress) {
    return tried.map(({ cut, part }, n) => {
      const bench = this.#bench(spec, part);
      start(bench, after);
      bench.runUntilUs(endOf(after));
      progress(n + 1, tried.length);
      return { cut, after: bench.result() };
    });
  }

  #bench(spec, part, measure) {
    return new Bench({
      flash: this.#once(`uf2 ${spec.uf2}`, () => flashOfUf2([spec.uf2].flat())),
      elf: spec.elf ? this.#elfOf(spec) : undefined,
      part,
      seed: spec.seed,
      busyUs: spec.busy_us === undefined ? undefined : [spec.busy_us, spec.busy_us],
      clock: spec.clock,
      hasDisplay: spec.display,
      start: spec.start,
      measure,
    });
  }

  #elfOf({ elf }) {
    if (!elf) throw new Error('to measure, name the ELF file (elf)');
    return this.#once(`elf ${elf}`, () => Elf.read(elf));
  }

  #script(path) {
    return this.#once(`script ${path}`, () => {
      try {
        return parseScript(readFileSync(path, 'utf8'));
      } catch (error) {
        throw new Error(`${path}: ${error.message}`);
      }
    });
  }

  #once(key, make) {
    if (!this.#cache.has(key)) this.#cache.set(key, make());
    return this.#cache.get(key);
  }
}

/** The supply is there from the beginning unless the script says when it comes. */
function start(bench, changes) {
  bench.plan(changes);
  const power = changes.find(({ signal }) => signal === 'power');
  if (power?.value !== '1') bench.powerUp();
}

function endOf(changes) {
  return changes.at(-1)?.at_us ?? 0;
}
