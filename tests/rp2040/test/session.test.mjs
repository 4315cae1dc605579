import assert from 'node:assert/strict';
import { spawnSync } from 'node:child_process';
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { after, test } from 'node:test';
import { fileURLToPath } from 'node:url';
import { Sessions } from '../session.mjs';
import { uf2Of } from '../test_support/samples.mjs';
import { at, flashOf, ifEqual, load, op, to } from '../test_support/thumb.mjs';

const folder = mkdtempSync(join(tmpdir(), 'rp2040-session-'));
after(() => rmSync(folder, { recursive: true }));
const path = (name) => join(folder, name);
const file = (name, content) => {
  writeFileSync(path(name), content);
  return path(name);
};

const I2C = 0x40044000;
const store = (address, value) => [load(0, address), load(1, value), op.str(1, 0)];

/** Writes byte 7 to page 1 of the part again and again, and waits for each cycle's end. */
const flash = flashOf({
  main: [
    ...[16, 17].flatMap((pin) => store(0x40014004 + 8 * pin, 3)),
    ...store(I2C + 0x6c, 0),
    ...store(I2C + 0x04, 0x50),
    ...store(I2C + 0x1c, 125),
    ...store(I2C + 0x20, 187),
    ...store(I2C + 0x6c, 1),
    at('again'),
    load(0, I2C),
    ...[0x00, 0x40, 0x207].flatMap((command) => [load(1, command), op.str(1, 0, 4)]),
    load(2, 200_000),
    at('wait'),
    op.subs(2, 1),
    { branch: 0xd100, label: 'wait' },
    op.ldr(1, 0, 21), // IC_CLR_TX_ABRT
    to('again'),
    ifEqual('again'),
  ],
});
const uf2 = file('image.uf2', uf2Of(flash));
const base = { uf2, start: 'vectors' };

test('the same run twice is the same result; a part goes on from one run to the next', () => {
  const spec = { ...base, until_us: 20_000, seed: 3 };
  const first = new Sessions().run({ ...spec, part_out: path('a.bin') });
  const second = new Sessions().run({ ...spec, part_out: path('b.bin') });
  assert.deepEqual(first, second);
  assert.deepEqual(readFileSync(path('a.bin')), readFileSync(path('b.bin')));
  assert.ok(first.program_cycles.by_page[1] >= 3);
  assert.equal(readFileSync(path('a.bin'))[64], 7);
  const third = new Sessions().run({
    ...base,
    until_us: 1,
    part: path('a.bin'),
    part_out: path('c.bin'),
  });
  assert.equal(third.program_cycles.total, 0);
  assert.deepEqual(readFileSync(path('c.bin')), readFileSync(path('a.bin')));
});

test('cuts that are tried on one sewing leave what cutting there leaves', () => {
  const after = file('look.txt', '20000 shaft 0\n');
  const cycles = [10_000, 60_000, 300_000, 900_000, 1_500_000];
  const { tried } = new Sessions().run({ ...base, cut_at_cycles: cycles, after, seed: 5 });
  assert.deepEqual(new Set(tried.map(({ cut }) => cut.phase)), new Set(['address', 'program']));
  for (const [n, cycle] of cycles.entries()) {
    const out = path(`cut${n}.bin`);
    const one = new Sessions().run({ ...base, cut_at_cycle: cycle, seed: 5, part_out: out });
    assert.deepEqual(tried[n].cut, one.cuts[0]);
    const torn = [...readFileSync(out).entries()].filter(([, byte]) => byte !== 0xff);
    assert.ok(torn.every(([place]) => place >> 6 === 1));
    const booted = new Sessions().run({ ...base, part: out, seed: 5, script: after });
    assert.deepEqual(booted, tried[n].after);
  }
});

test('a cut in a run, and the boot after it; the rest of the script is dropped', () => {
  const after = file('after.txt', '30000 shaft 0\n');
  const script = file('day.txt', '1000 trim 1\n8000 power 0\n8100 power 1\n120000 power 0\n');
  const result = new Sessions().run({ ...base, script, cut_at_cycle: 900_000, tear: 'p65', after });
  assert.equal(result.boots, 2);
  assert.equal(result.cuts.length, 1);
  assert.equal(result.cuts[0].tear, 'p65');
  assert.ok(Math.abs(result.end_us - 900_000 / 125 - 100_000 - 30_000) < 1);
});

test('the supply is there from the beginning unless the script brings it', () => {
  const boots = (script) => new Sessions().run({ ...base, script: file('s.txt', script) });
  assert.equal(boots('5000 shaft 1\n').program_cycles.total, 1);
  assert.equal(boots('4990 power 1\n5000 shaft 1\n').program_cycles.total, 0);
  assert.equal(boots('4000 power 0\n4100 power 1\n5000 shaft 1\n').boots, 2);
});

test('what is wrong with a specification is said', () => {
  const run = (spec) => () => new Sessions().run(spec);
  assert.throws(run({}), /which image/);
  assert.throws(run({ ...base, cuts: 3 }), /a run has no "cuts"/);
  assert.throws(run({ ...base, tear: 'x' }), /is no tear/);
  assert.throws(run({ ...base, measure: true }), /name the ELF file/);
  assert.throws(run({ ...base, script: file('bad.txt', '1 x 1\n') }), /bad\.txt: script line 1/);
  assert.throws(run({ ...base, part: uf2 }), /32768 bytes/);
});

const RUN = fileURLToPath(new URL('../run.mjs', import.meta.url));
const run = (...args) => spawnSync(process.execPath, [RUN, ...args], { encoding: 'utf8' });

test('the command line: a run, a batch, and one line for what is wrong', () => {
  const one = run('--uf2', uf2, '--start', 'vectors', '--until-us', '20000', '--seed', '3');
  assert.equal(one.status, 0, one.stderr);
  const result = JSON.parse(one.stdout);
  assert.deepEqual(result, new Sessions().run({ ...base, until_us: 20_000, seed: 3 }));
  const list = file(
    'list.json',
    JSON.stringify([
      { ...base, until_us: 20_000, seed: 3 },
      { ...base, until_us: 9 },
    ]),
  );
  const batch = run('--batch', list);
  const lines = batch.stdout
    .trimEnd()
    .split('\n')
    .map((line) => JSON.parse(line));
  assert.deepEqual(lines[0], result);
  assert.equal(lines.length, 2);
  assert.match(batch.stderr, /run 2 of 2/);
  for (const args of [
    ['--uf2', 'nowhere.uf2'],
    ['--seed', 'x', '--uf2', uf2],
    ['--frobnicate'],
    [],
  ]) {
    const bad = run(...args);
    assert.equal(bad.status, 2);
    assert.match(bad.stderr, /^run\.mjs: [^\n]+; try --help\n$/);
    assert.equal(bad.stdout, '');
  }
});
