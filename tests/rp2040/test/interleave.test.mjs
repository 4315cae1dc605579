import assert from 'node:assert/strict';
import { test } from 'node:test';
import { Elf } from '../elf.mjs';
import { Interleaving } from '../interleave.mjs';
import { elfOf } from '../test_support/samples.mjs';
import { at, flashOf, ifNotEqual, load, op, to } from '../test_support/thumb.mjs';

const RESULT = 0x20000100;
const QUEUE = 0x20000200;
const NVIC_ISER = 0xe000e100;
const NVIC_IRQ13 = 1 << 13;
const IRQ_PINS = 16 + 13;

/** Counts pushes in a word that the main program takes from; `guard` is put around that. */
function program(guardOn, guardOff, spoilsOrder = []) {
  const rounds = 5;
  const main = [
    ...[0, 1, 2, 4].flatMap((n) => [load(0, RESULT + 4 * n), op.movs(1, 0), op.str(1, 0)]),
    load(0, QUEUE),
    op.str(1, 0),
    load(0, RESULT + 12),
    op.movs(1, 1),
    op.str(1, 0),
    load(0, NVIC_ISER),
    load(1, NVIC_IRQ13),
    op.str(1, 0),
    load(5, rounds),
    at('round'),
    // Takes all that is in the queue, and counts it as popped.
    load(0, QUEUE),
    ...guardOn,
    op.ldr(1, 0),
    op.movs(2, 0),
    op.str(2, 0),
    ...guardOff,
    load(3, RESULT + 4),
    op.ldr(4, 3),
    op.addReg(4, 4, 1),
    op.str(4, 3),
    op.subs(5, 1),
    ifNotEqual('round'),
    // What is left, behind a mask for good.
    op.cpsid,
    op.ldr(1, 0),
    op.ldr(4, 3),
    op.addReg(4, 4, 1),
    op.str(4, 3),
    load(0, RESULT + 16),
    op.movs(1, 1),
    op.str(1, 0),
    at('end'),
    to('end'),
  ];
  const handler = [load(0, QUEUE), op.ldr(1, 0), op.adds(1, 1), op.str(1, 0)].concat([
    ...spoilsOrder,
    load(0, RESULT),
    op.ldr(1, 0),
    op.adds(1, 1),
    op.str(1, 0),
    op.bxLr,
  ]);
  const flash = flashOf({ main, handlers: { [IRQ_PINS]: handler } });
  const symbols = [
    { name: 'main', address: 0x10000201, bytes: 2 * main.length, isFunction: true },
    { name: 'RACE_RESULT', address: RESULT, bytes: 20 },
  ];
  return new Elf(elfOf(symbols, flash));
}

test('a program whose critical section is there holds at every instruction', () => {
  const it = new Interleaving({ elf: program([op.cpsid], [op.cpsie]) });
  const singles = it.singles();
  assert.equal(singles.failed, 0, JSON.stringify(singles.failures));
  assert.ok(singles.runs === it.instructions && singles.runs > 60);
  assert.ok(singles.entries > singles.runs / 2, 'the interrupt really came');
  const pairs = it.pairs(Infinity, 1);
  assert.equal(pairs.failed, 0, JSON.stringify(pairs.failures));
  assert.equal(pairs.runs, (it.instructions * (it.instructions - 1)) / 2);
});

test('one that lacks it is caught, at the instruction where it is missing', () => {
  const it = new Interleaving({ elf: program([], []) });
  const singles = it.singles();
  // Between load and clear, two instructions wide, in each of five rounds.
  assert.equal(singles.failed, 10);
  assert.match(singles.failures[0].places[0], /^main\+0x/);
  assert.equal(singles.failures[0].why, 'pushed is not popped and missed');
  const some = it.pairs(200, 7);
  assert.equal(some.runs, 200);
  assert.ok(some.failed > 0);
  assert.deepEqual(it.pairs(200, 7), some, 'the same seed, the same pairs');
});

test('a program that finds its order broken is caught', () => {
  const spoils = [load(0, RESULT + 12), op.movs(1, 0), op.str(1, 0)];
  const { failed, failures } = new Interleaving({
    elf: program([op.cpsid], [op.cpsie], spoils),
  }).singles();
  assert.ok(failed > 0);
  assert.equal(failures[0].why, 'out of order');
});

test('a program without its result, or that never ends, is refused', () => {
  assert.throws(
    () => new Interleaving({ elf: new Elf(elfOf([], new Uint8Array(512))) }),
    /RACE_RESULT/,
  );
});
