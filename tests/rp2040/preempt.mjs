#!/usr/bin/env node
/**
 * Lets an interrupt come before every instruction of a race-test program, and before
 * pairs of them. See README.md.
 *
 * Exit code: 0 when all held, 1 when a run failed, 2 when there was no run: one line on
 * stderr says why.
 */

import { writeFileSync } from 'node:fs';
import { parseArgs } from 'node:util';
import { Elf } from './elf.mjs';
import { Interleaving } from './interleave.mjs';

const USAGE = `usage: node preempt.mjs --elf FILE [options]

  --elf FILE      the program; it writes RACE_RESULT
  --irq N         the interrupt that is set pending (13: the pins')
  --pin N         instead: this pin changes its level, first to low
  --from SYMBOL   instructions count from the beginning of this function (main)
  --pairs N       most pairs to try (20000)
  --seed N        draws the pairs when there are more (1)
  --json FILE     write the result here (to stdout without)

example: node preempt.mjs --elf race.elf --pairs 100000
`;

function numberOf(name, text) {
  if (!/^\d+$/.test(text)) throw new Error(`--${name} is a whole number, not "${text}"`);
  return Number(text);
}

function main() {
  const names = ['elf', 'irq', 'pin', 'from', 'pairs', 'seed', 'json'];
  const options = Object.fromEntries(names.map((name) => [name, { type: 'string' }]));
  const { values } = parseArgs({ options: { ...options, help: { type: 'boolean' } } });
  if (values.help) {
    process.stdout.write(USAGE);
    return 0;
  }
  if (!values.elf) throw new Error('which program? Name its ELF file (--elf)');
  const number = (name, otherwise) =>
    values[name] === undefined ? otherwise : numberOf(name, values[name]);
  const it = new Interleaving({
    elf: Elf.read(values.elf),
    irq: number('irq', 13),
    pin: number('pin', undefined),
    from: values.from,
  });
  const progress = (done, all) => process.stderr.write(`${done} of ${all}\n`);
  const result = {
    instructions: it.instructions,
    singles: it.singles(progress),
    pairs: it.pairs(number('pairs', 20_000), number('seed', 1), progress),
  };
  const text = `${JSON.stringify(result, null, 1)}\n`;
  if (values.json) writeFileSync(values.json, text);
  else process.stdout.write(text);
  return result.singles.failed + result.pairs.failed === 0 ? 0 : 1;
}

try {
  process.exitCode = main();
} catch (error) {
  process.stderr.write(`preempt.mjs: ${error.message.replaceAll('\n', ' ')}; try --help\n`);
  process.exitCode = 2;
}
