#!/usr/bin/env node
/**
 * Runs the RP2040 image on the bench. See README.md.
 *
 * Exit code: 0 when the run was made, 2 when it could not be: one line on stderr says why.
 */

import { readFileSync, writeFileSync } from 'node:fs';
import { parseArgs } from 'node:util';
import { Sessions } from './session.mjs';

const USAGE = `usage: node run.mjs --uf2 FILE [options]
       node run.mjs --batch FILE

  --uf2 FILE          the image, as it is shipped; again for what else is copied into the
                      flash, such as the board's number
  --elf FILE          its ELF file, for symbols
  --script FILE       what happens at the inputs
  --after FILE        what happens after the cut, from the power-up on
  --part FILE         what the EEPROM holds (blank without)
  --part-out FILE     write what it holds at the end
  --json FILE         write the result here (to stdout without)
  --seed N            draws all noise (1)
  --tear NAME         what a cut leaves of a page under way: old, new, ff, p<bytes>,
                      m<hex mask>, g<hex seed> (drawn without)
  --cut-at-cycle N    the supply goes at this cycle of the processor
  --until-us N        end of the run, in the time of its last script
  --busy-us N         length of each program cycle (3 to 5 ms, drawn)
  --clock TIME        a clock chip that shows this date and time at the beginning
  --no-display        without display
  --start WHERE       boot2 or vectors (boot2)
  --measure           measure interrupts, masked stretches and stack (needs --elf)
  --batch FILE        runs of a JSON list, one line of JSON for each

examples:
  node run.mjs --uf2 image.uf2 --script day.txt --part-out part.bin --json day.json
  node run.mjs --uf2 image.uf2 --script day.txt --cut-at-cycle 250000000 --tear p17 \\
      --after look.txt
`;

const OPTIONS = {
  ...Object.fromEntries(
    ['elf', 'script', 'after', 'part', 'part-out', 'json', 'seed', 'tear', 'cut-at-cycle']
      .concat(['until-us', 'busy-us', 'clock', 'start', 'batch'])
      .map((name) => [name, { type: 'string' }]),
  ),
  uf2: { type: 'string', multiple: true },
  'no-display': { type: 'boolean' },
  measure: { type: 'boolean' },
  help: { type: 'boolean' },
};
const NUMBERS = new Set(['seed', 'cut-at-cycle', 'until-us', 'busy-us']);

function specOf(values) {
  const spec = {};
  for (const [name, value] of Object.entries(values)) {
    if (name === 'json') continue;
    if (name === 'no-display') spec.display = false;
    else spec[name.replaceAll('-', '_')] = NUMBERS.has(name) ? numberOf(name, value) : value;
  }
  return spec;
}

function numberOf(name, text) {
  if (!/^\d+$/.test(text)) throw new Error(`--${name} is a whole number, not "${text}"`);
  return Number(text);
}

function runBatch(path) {
  const specs = JSON.parse(readFileSync(path, 'utf8'));
  if (!Array.isArray(specs)) throw new Error(`${path}: not a JSON list`);
  const sessions = new Sessions();
  for (const [n, spec] of specs.entries()) {
    const progress = (done, all) => {
      process.stderr.write(`run ${n + 1} of ${specs.length}, cut ${done} of ${all}\n`);
    };
    const result = sessions.run(spec, progress);
    process.stderr.write(`run ${n + 1} of ${specs.length}\n`);
    process.stdout.write(`${JSON.stringify(result)}\n`);
  }
}

function main() {
  const { values } = parseArgs({ options: OPTIONS });
  if (values.help) {
    process.stdout.write(USAGE);
  } else if (values.batch) {
    runBatch(values.batch);
  } else {
    const result = `${JSON.stringify(new Sessions().run(specOf(values)), null, 1)}\n`;
    if (values.json) writeFileSync(values.json, result);
    else process.stdout.write(result);
  }
}

try {
  main();
} catch (error) {
  process.stderr.write(`run.mjs: ${error.message.replaceAll('\n', ' ')}; try --help\n`);
  process.exitCode = 2;
}
