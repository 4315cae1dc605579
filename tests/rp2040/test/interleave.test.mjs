import assert from 'node:assert/strict';
import { test } from 'node:test';
import { Elf } from '../elf.mjs';
import { Interleaving } from '../interleave.mjs';
import { elfOf } from '../test_support/samples.mjs';
import { at, flashOf, ifNotEqual, load, op, to } from '../test_support/thumb.mjs';

const RESULT = 0x20000100;
const [PHASE, PUSHED, POPPED, DISORDER, INTERRUPTS, PANICS] = [0, 2, 3, 5, 6, 7].map(
  (word) => RESULT + 4 * word,
);
const QUEUE = 0x20000200;
const NVIC_ISER = 0xe000e100;
const IRQ = 26;
const ROUNDS = 5;

const store = (address, value) => [load(0, address), op.movs(1, value), op.str(1, 0)];
const count = (address) => [load(0, address), op.ldr(1, 0), op.adds(1, 1), op.str(1, 0)];
const CLEAR = Array.from({ length: 8 }, (_, n) => store(RESULT + 4 * n, 0)).flat();
const UNMASK = [load(0, NVIC_ISER), load(1, 1 << IRQ), op.str(1, 0)];

/** Adds what is in the queue to what was popped, and empties it; uses r2 to r4. */
const take = (guardOn, guardOff) => [
  load(2, QUEUE),
  ...guardOn,
  op.ldr(3, 2),
  op.movs(4, 0),
  op.str(4, 2),
  ...guardOff,
  load(2, POPPED),
  op.ldr(4, 2),
  op.addReg(4, 4, 3),
  op.str(4, 2),
];

function elfWith(main, handler) {
  const flash = flashOf({ main, handlers: { [16 + IRQ]: handler } });
  const symbols = [
    { name: 'main', address: 0x10000201, bytes: 2 * main.length, isFunction: true },
    { name: 'RACE_RESULT', address: RESULT, bytes: 32 },
  ];
  return new Elf(elfOf(symbols, flash));
}

/** A queue that is only a number; `guard` is put around where the main loop takes it. */
function program(guardOn, guardOff, handlerToo = []) {
  const main = [
    ...CLEAR,
    ...store(QUEUE, 0),
    ...UNMASK,
    load(5, ROUNDS),
    ...store(PHASE, 1),
    at('round'),
    ...take(guardOn, guardOff),
    op.subs(5, 1),
    ifNotEqual('round'),
    op.cpsid,
    ...store(PHASE, 2),
    ...take([], []),
    ...store(PHASE, 3),
    at('end'),
    to('end'),
  ];
  const handler = [...count(QUEUE), ...count(PUSHED), ...count(INTERRUPTS), ...handlerToo];
  return elfWith(main, [...handler, op.bxLr]);
}

const GUARDED = [[op.cpsid], [op.cpsie]];
const interleaving = (elf) => new Interleaving({ elf, irq: IRQ, burst: 1 });

test('a program whose critical section is there holds at every instruction', () => {
  const it = interleaving(program(...GUARDED));
  const singles = it.singles();
  assert.equal(singles.failed, 0, JSON.stringify(singles.failures));
  assert.equal(singles.runs, it.instructions);
  assert.ok(singles.runs > 50, `${singles.runs} instructions`);
  // The last instructions before the mask of the end.
  assert.ok(singles.entries >= singles.runs - 6, `${singles.entries} entries`);
  const pairs = it.pairs(Infinity, 1);
  assert.equal(pairs.failed, 0, JSON.stringify(pairs.failures));
  assert.equal(pairs.runs, it.instructions ** 2);
  assert.ok(pairs.entries > 1.5 * pairs.runs, `${pairs.entries} entries`);
});

test('one that lacks it is caught, at the instruction where it is missing', () => {
  const it = interleaving(program([], []));
  const singles = it.singles();
  // Between load and clear, two instructions wide, in each of the rounds.
  assert.equal(singles.failed, 2 * ROUNDS);
  assert.match(singles.failures[0].places[0], /^main\+0x/);
  assert.equal(singles.failures[0].why, 'pushed is not popped and missed');
  const some = it.pairs(200, 7);
  assert.equal(some.runs, 200);
  assert.ok(some.failed > 0);
  assert.deepEqual(it.pairs(200, 7), some, 'the same seed, the same pairs');
});

test('disorder, a panic, a lost count, a fault and a hang are caught', () => {
  const whyOf = (handlerToo) => {
    const { failed, failures } = interleaving(program(...GUARDED, handlerToo)).singles();
    assert.ok(failed > 0);
    return failures[0].why;
  };
  assert.equal(whyOf(store(DISORDER, 1)), 'out of order');
  assert.equal(whyOf(store(PANICS, 1)), 'it panicked');
  assert.equal(whyOf(store(INTERRUPTS, 0)), 'an interrupt was not counted');
  assert.match(whyOf([op.udf]), /^hard fault at/);
  assert.equal(whyOf([at('hang'), to('hang')]), 'it does not end');
});

test('a program that does not begin, or fails by itself, is refused', () => {
  const run = (main) => () => interleaving(elfWith(main, [op.bxLr]));
  assert.throws(run([...CLEAR, op.wfi]), /sleeps for ever/);
  assert.throws(
    run([...CLEAR, ...store(PHASE, 1), ...store(PUSHED, 1), ...store(PHASE, 3), at('x'), to('x')]),
    /fails undisturbed: pushed/,
  );
  const nameless = new Elf(elfOf([], new Uint8Array(512)));
  assert.throws(() => interleaving(nameless), /RACE_RESULT/);
});
