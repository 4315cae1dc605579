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

  --elf FILE      the program; it speaks through RACE_RESULT
  --irq N         the interrupt that is set pending (26: the first that the chip leaves
                  to software)
  --bursts N,N    edges that one interrupt pushes, a round of runs for each (1,4)
  --pairs N       most pairs to try in a round (20000); all, if there are no more
  --seed N        draws the pairs when there are more (1)
  --json FILE     write the result here (to stdout without)

example: node preempt.mjs --elf race --bursts 1,2,3,4 --pairs 1000000
`;

function numberOf(name, text) {
  if (!/^\d+$/.test(text)) throw new Error(`--${name} is a whole number, not "${text}"`);
  return Number(text);
}

function main() {
  const names = ['elf', 'irq', 'bursts', 'pairs', 'seed', 'json'];
  const options = Object.fromEntries(names.map((name) => [name, { type: 'string' }]));
  const { values } = parseArgs({ options: { ...options, help: { type: 'boolean' } } });
  if (values.help) {
    process.stdout.write(USAGE);
    return 0;
  }
  if (!values.elf) throw new Error('which program? Name its ELF file (--elf)');
  const { irq = '26', bursts = '1,4', pairs = '20000', seed = '1' } = values;
  const elf = Elf.read(values.elf);
  const rounds = bursts.split(',').map((burst) => {
    const it = new Interleaving({
      elf,
      irq: numberOf('irq', irq),
      burst: numberOf('bursts', burst),
    });
    const progress = (done, all) => process.stderr.write(`burst ${burst}: ${done} of ${all}\n`);
    return {
      burst: Number(burst),
      instructions: it.instructions,
      singles: it.singles(progress),
      pairs: it.pairs(numberOf('pairs', pairs), numberOf('seed', seed), progress),
    };
  });
  const failed = rounds.reduce((sum, it) => sum + it.singles.failed + it.pairs.failed, 0);
  const text = `${JSON.stringify({ failed, rounds }, null, 1)}\n`;
  if (values.json) writeFileSync(values.json, text);
  else process.stdout.write(text);
  return failed === 0 ? 0 : 1;
}

try {
  process.exitCode = main();
} catch (error) {
  process.stderr.write(`preempt.mjs: ${error.message.replaceAll('\n', ' ')}; try --help\n`);
  process.exitCode = 2;
}
