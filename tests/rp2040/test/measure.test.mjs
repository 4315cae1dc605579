import assert from 'node:assert/strict';
import { test } from 'node:test';
import { Elf } from '../elf.mjs';
import { Machine } from '../machine.mjs';
import { Measure } from '../measure.mjs';
import { elfOf } from '../test_support/samples.mjs';
import { at, flashOf, load, op, to } from '../test_support/thumb.mjs';

const RAM_END_OF_STATICS = 0x20030000;
const IRQ_PINS = 16 + 13;
const NVIC_ISER = 0xe000e100;
const NVIC_ISPR = 0xe000e200;
const store = (address, value) => [load(0, address), load(1, value), op.str(1, 0)];
const nops = (count) => Array(count).fill(op.nop);
const forever = [at('end'), to('end')];

/** Runs a program with its measuring; what was measured. */
function measured(program, { cycles = 2_000, during = () => {} } = {}) {
  const flash = flashOf(program);
  const elf = new Elf(
    elfOf(
      [
        { name: '_stack_start', address: 0x20040000 },
        { name: '__euninit', address: RAM_END_OF_STATICS },
        { name: 'main', address: 0x10000201, bytes: 0x200, isFunction: true },
      ],
      flash,
    ),
  );
  const machine = new Machine({ flash, start: 'vectors' });
  const measure = new Measure(elf);
  measure.now = () => machine.cycle;
  machine.probe = measure;
  machine.powerUp();
  during(machine);
  machine.run(cycles);
  return measure.result(machine.chip?.rp.sram ?? null);
}

test('the longest interrupt, from entry to return', () => {
  const handler = (count) => ({ [IRQ_PINS]: [...nops(count), op.bxLr] });
  const main = [...store(NVIC_ISER, 1 << 13), ...store(NVIC_ISPR, 1 << 13), ...forever];
  const [short] = measured({ main, handlers: handler(0) }).interrupts;
  const [long] = measured({ main, handlers: handler(50) }).interrupts;
  assert.equal(short.irq, 13);
  assert.equal(short.count, 1);
  assert.equal(long.longest_cycles - short.longest_cycles, 50);
  assert.ok(short.longest_cycles >= 15, 'entry counts');
});

test('how long an interrupt waited behind the mask', () => {
  const masked = (count) => [op.cpsid, ...nops(count), op.cpsie, ...forever];
  const wait = (count) => {
    const { interrupts } = measured(
      {
        main: [...store(NVIC_ISER, 1 << 13), ...masked(count)],
        handlers: { [IRQ_PINS]: [...store(NVIC_ISER + 0x80, 1 << 13), op.bxLr] },
      },
      { during: (machine) => machine.at(15, () => machine.chip.core.setInterrupt(13, true)) },
    );
    return interrupts[0].longest_wait_cycles;
  };
  assert.equal(wait(110) - wait(60), 50);
});

test('a line that went away again did not wait', () => {
  const { interrupts } = measured(
    {
      main: [...nops(20), ...store(NVIC_ISER, 1 << 13), ...forever],
      handlers: { [IRQ_PINS]: [...store(NVIC_ISER + 0x80, 1 << 13), op.bxLr] },
    },
    {
      during: (machine) => {
        const line = (cycle, isActive) =>
          machine.at(cycle, () => machine.chip.core.setInterrupt(13, isActive));
        line(2, true);
        line(4, false);
        line(1_000, true);
      },
    },
  );
  assert.ok(interrupts[0].longest_wait_cycles < 5, `${interrupts[0].longest_wait_cycles}`);
});

test('the longest stretch with PRIMASK set, and where', () => {
  const { longest_masked_cycles: longest, masked } = measured({
    main: [op.cpsid, op.nop, op.cpsie, op.cpsid, ...nops(40), op.cpsie, ...forever],
  });
  assert.equal(longest, 41);
  assert.deepEqual(
    masked.map(({ cycles }) => cycles),
    [41, 2],
  );
  assert.equal(masked[0].from, 'main+0x8');
  assert.equal(masked[0].to, 'main+0x5a');
});

test('sleep behind the mask is not a masked stretch, what follows it is', () => {
  const { longest_masked_cycles: longest } = measured(
    {
      main: [...store(NVIC_ISER, 1 << 13), op.cpsid, op.wfi, ...nops(30), op.cpsie, ...forever],
      handlers: { [IRQ_PINS]: [...store(NVIC_ISER + 0x80, 1 << 13), op.bxLr] },
    },
    { during: (machine) => machine.at(1_000, () => machine.chip.core.setInterrupt(13, true)) },
  );
  assert.ok(longest >= 31 && longest < 40, `${longest}`);
});

test('the deepest stack, also of a life that a loss of supply has ended', () => {
  const main = [...store(0x2003ff00, 0), ...forever];
  const during = (machine) => machine.at(1_000, () => machine.powerDown());
  for (const options of [{}, { during }]) {
    const { stack } = measured({ main }, options);
    assert.deepEqual(stack, { room_bytes: 0x10000, deepest_bytes: 0x100, is_full: false });
  }
  const full = measured({ main: [...store(RAM_END_OF_STATICS, 0), ...forever] });
  assert.ok(full.stack.is_full);
});
