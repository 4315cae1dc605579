import assert from 'node:assert/strict';
import { test } from 'node:test';
import { Machine } from '../machine.mjs';
import { at, flashOf, ifNotEqual, load, op, to } from '../test_support/thumb.mjs';

const RAM = 0x20000000;
const NVIC_ISER = 0xe000e100;
const NVIC_ISPR = 0xe000e200;
const SYST_CSR = 0xe000e010;
const TIMER_INTE = 0x40054038;
const TIMER_INTR = 0x40054034;
const TIMER_ALARM0 = 0x40054010;
const TIMER_RAWL = 0x40054028;
const WATCHDOG_CTRL = 0x40058000;
const WATCHDOG_LOAD = 0x40058004;
const WATCHDOG_SCRATCH0 = 0x4005800c;
const PSM_WDSEL = 0x40010008;
const PADS_GPIO2 = 0x4001c00c;
const IO_INTR0 = 0x400140f0;
const IO_PROC0_INTE0 = 0x40014100;
const IRQ_TIMER0 = 16;
const IRQ_IO = 16 + 13;

const store = (address, value) => [load(0, address), load(1, value), op.str(1, 0)];
const forever = [at('end'), to('end')];
/** Adds one to the word at `address`. */
const count = (address) => [load(2, address), op.ldr(3, 2), op.adds(3, 1), op.str(3, 2)];

function machineOf(program) {
  const machine = new Machine({ flash: flashOf(program), start: 'vectors' });
  machine.powerUp();
  return machine;
}

/** The word at `word` of the RAM. */
function ram(machine, word) {
  return machine.chip.rp.sramView.getUint32(4 * word, true);
}

/** Clears words 0 to 7 of the RAM, which is noise at power-up. */
const clear = Array.from({ length: 8 }, (_, n) => store(RAM + 4 * n, 0)).flat();

test('an event comes at its cycle, in order', () => {
  const machine = machineOf({ main: forever });
  const seen = [];
  machine.at(500, () => seen.push(machine.cycle));
  machine.at(100, () => machine.at(200, () => seen.push(machine.cycle)));
  machine.run(1_000);
  assert.equal(seen.length, 2);
  assert.ok(seen[0] >= 200 && seen[0] < 205, `${seen[0]}`);
  assert.ok(seen[1] >= 500 && seen[1] < 505, `${seen[1]}`);
});

test('WFI with PRIMASK set wakes, and the handler waits until the mask is cleared', () => {
  const machine = machineOf({
    main: [
      ...clear,
      ...store(TIMER_INTE, 1),
      ...store(NVIC_ISER, 1),
      op.cpsid,
      ...store(TIMER_ALARM0, 100),
      op.wfi,
      // Awake: copy what the handler has done so far.
      load(2, RAM),
      op.ldr(3, 2),
      op.str(3, 2, 1),
      op.movs(4, 1),
      op.str(4, 2, 2),
      op.cpsie,
      op.nop,
      op.ldr(3, 2),
      op.str(3, 2, 3),
      ...forever,
    ],
    handlers: { [IRQ_TIMER0]: [...store(TIMER_INTR, 1), ...count(RAM), op.bxLr] },
  });
  machine.run(99 * 125);
  assert.equal(ram(machine, 2), 0, 'asleep until the alarm');
  machine.run(101 * 125);
  assert.equal(ram(machine, 2), 1, 'woken by the alarm');
  assert.equal(ram(machine, 1), 0, 'no handler has run behind the mask');
  assert.equal(ram(machine, 3), 1, 'it ran when the mask was cleared');
  assert.equal(ram(machine, 0), 1, 'once');
});

test('WFI does not sleep over an interrupt that is pending behind the mask', () => {
  const machine = machineOf({
    main: [
      ...clear,
      ...store(TIMER_INTE, 1),
      ...store(NVIC_ISER, 1),
      op.cpsid,
      ...store(TIMER_ALARM0, 20),
      load(2, 2_000),
      at('spin'),
      op.subs(2, 1),
      ifNotEqual('spin'),
      op.wfi,
      ...store(RAM, 1),
      ...forever,
    ],
    handlers: { [IRQ_TIMER0]: [op.bxLr] },
  });
  machine.run(100_000);
  assert.equal(ram(machine, 0), 1);
});

test('SysTick wakes WFI', () => {
  const machine = machineOf({
    main: [
      ...clear,
      ...store(SYST_CSR + 4, 1_000),
      ...store(SYST_CSR + 8, 0),
      ...store(SYST_CSR, 7),
      at('again'),
      op.wfi,
      ...count(RAM),
      to('again'),
    ],
    handlers: { 15: [...count(RAM + 4), op.bxLr] },
  });
  machine.run(10_500);
  const [wakes, ticks] = [ram(machine, 0), ram(machine, 1)];
  assert.ok(ticks >= 9 && ticks <= 11, `${ticks} ticks`);
  assert.ok(wakes >= ticks - 1 && wakes <= ticks + 1, `${wakes} wakes`);
  assert.ok(machine.asleepCycles > 8_000);
});

test('an interrupt that software has set pending is entered once', () => {
  const machine = machineOf({
    main: [...clear, ...store(NVIC_ISER, 1 << 13), ...store(NVIC_ISPR, 1 << 13), ...forever],
    handlers: { [IRQ_IO]: [...count(RAM), op.bxLr] },
  });
  machine.run(2_000);
  assert.equal(ram(machine, 0), 1);
});

test('a pin driven to the level it has makes no edge', () => {
  const machine = machineOf({
    main: [
      ...clear,
      ...store(PADS_GPIO2, 0x4a),
      ...store(IO_INTR0, 0xf00),
      ...store(IO_PROC0_INTE0, 0xc00),
      ...store(NVIC_ISER, 1 << 13),
      ...forever,
    ],
    handlers: { [IRQ_IO]: [...store(IO_INTR0, 0xc00), ...count(RAM), op.bxLr] },
  });
  const pin = machine.chip.rp.gpio[2];
  pin.setInputValue(true);
  machine.run(1_000);
  assert.equal(ram(machine, 0), 0, 'quiet after set-up');
  for (const [level, edges] of [
    [true, 0],
    [false, 1],
    [false, 1],
    [true, 2],
    [true, 2],
  ]) {
    pin.setInputValue(level);
    machine.run(machine.cycle + 500);
    assert.equal(ram(machine, 0), edges, `after ${level}`);
  }
});

test('an alarm fires at its µs, not before', () => {
  const machine = machineOf({
    main: [
      ...clear,
      ...store(TIMER_INTE, 1),
      ...store(NVIC_ISER, 1),
      ...store(TIMER_ALARM0, 50),
      op.wfi,
      ...forever,
    ],
    handlers: {
      [IRQ_TIMER0]: [
        load(2, TIMER_RAWL),
        op.ldr(3, 2),
        load(2, RAM),
        op.str(3, 2),
        ...store(TIMER_INTR, 1),
        op.bxLr,
      ],
    },
  });
  machine.run(49 * 125);
  assert.equal(ram(machine, 0), 0);
  machine.run(52 * 125);
  assert.equal(ram(machine, 0), 50);
});

/** Counts its starts in a word that nothing clears, then starts the watchdog for 100 µs. */
const watched = (wdsel) => [
  ...count(WATCHDOG_SCRATCH0),
  ...store(PSM_WDSEL, wdsel),
  ...store(WATCHDOG_LOAD, 200),
  ...store(WATCHDOG_CTRL, 0x40000000),
  ...store(RAM + 64, 0x600d),
  ...forever,
];

test('the watchdog resets the chip; RAM, scratch registers and the reason stay', () => {
  const machine = machineOf({ main: watched(0x1fffc) });
  const first = machine.chip;
  machine.run(50 * 125);
  first.rp.sramView.setUint32(128, 0xcafe, true);
  machine.run(150 * 125);
  assert.notEqual(machine.chip, first);
  assert.equal(machine.resets.length, 1);
  assert.equal(machine.resets[0].reason, 'watchdog-timer');
  assert.equal(ram(machine, 32), 0xcafe);
  assert.equal(machine.chip.watchdog.scratchData[0], 2);
  assert.equal(machine.chip.watchdog.reason, 1);
  assert.ok(machine.chip.clock.micros < 51, 'the timer starts again at 0');
  machine.run(machine.cycle + 250 * 125);
  assert.equal(machine.resets.length, 3, 'again and again');
});

test('a watchdog that names no processor resets nothing', () => {
  const machine = machineOf({ main: watched(0) });
  machine.run(500 * 125);
  assert.equal(machine.resets.length, 0);
  assert.match([...machine.complaints.keys()].join(), /WDSEL/);
});

test('a forced watchdog reset has its own reason', () => {
  const machine = machineOf({
    main: [
      ...count(WATCHDOG_SCRATCH0),
      ...store(PSM_WDSEL, 0x1fffc),
      load(4, 2),
      load(0, WATCHDOG_SCRATCH0),
      op.ldr(1, 0),
      op.cmp(1, 2),
      { branch: 0xd000, label: 'end' },
      ...store(WATCHDOG_CTRL, 0x80000000),
      ...forever,
    ],
  });
  machine.run(10_000);
  assert.deepEqual(
    machine.resets.map(({ reason }) => reason),
    ['watchdog-force'],
  );
  assert.equal(machine.chip.watchdog.reason, 2);
});

test('UDF and a stray access are hard faults; a second one locks up', () => {
  for (const bad of [
    [op.udf],
    [load(0, 0x30000000), op.ldr(1, 0)],
    [load(0, RAM + 2), op.ldr(1, 0)],
  ]) {
    const machine = machineOf({
      main: [...clear, ...bad, ...store(RAM + 4, 1), ...forever],
      handlers: { 3: [...count(RAM), ...forever] },
    });
    machine.run(2_000);
    assert.deepEqual([ram(machine, 0), ram(machine, 1)], [1, 0]);
    assert.ok(!machine.chip.isLockedUp);
  }
  const machine = machineOf({ main: [op.udf], handlers: { 3: [op.udf] } });
  machine.run(2_000);
  assert.ok(machine.chip.isLockedUp);
});

test('faults from outside: a hard fault, and a call of any function', () => {
  const flash = {
    main: [...clear, ...forever],
    handlers: { 3: [...count(RAM), op.bxLr], 4: [...count(RAM + 4), op.bxLr] },
  };
  const machine = machineOf(flash);
  machine.run(500);
  machine.injectHardFault();
  machine.run(1_000);
  assert.equal(ram(machine, 0), 1);
  machine.injectCall(machine.chip.rp.readUint32(0x10000100 + 16));
  machine.run(1_500);
  assert.equal(ram(machine, 1), 1);
});

test('loss of supply takes the RAM; cycles go on, noise is by the seed', () => {
  const noise = (seed) => {
    const machine = new Machine({ flash: flashOf({ main: forever }), start: 'vectors', seed });
    machine.powerUp();
    machine.run(1_000);
    machine.chip.rp.sramView.setUint32(0, 0xcafe, true);
    machine.powerDown();
    const off = machine.cycle;
    machine.run(2_000);
    assert.equal(machine.cycle, 2_000);
    assert.ok(off >= 1_000);
    machine.powerUp();
    assert.notEqual(ram(machine, 0), 0xcafe);
    return [machine.boots, ram(machine, 0), ram(machine, 1_000)];
  };
  assert.deepEqual(noise(1), noise(1));
  assert.notDeepEqual(noise(1), noise(2));
});
