import assert from 'node:assert/strict';
import { test } from 'node:test';
import { Reactions } from '../reaction.mjs';
import { idleBench } from '../test_support/samples.mjs';

const UART = 0x40034000;
const UARTDR = 0x00;
const UARTFR = 0x18;
const IO_CTRL = (pin) => 0x40014004 + 8 * pin;
const PADS = (pin) => 0x4001c004 + 4 * pin;
const SIO_IN = 0xd0000004;
const SIO_OUT_SET = 0xd0000014;
const SIO_OUT_CLR = 0xd0000018;
const SIO_OE_SET = 0xd0000024;
const ADC_CS = 0x4004c000;
const ADC_RESULT = 0x4004c004;
/** A byte at 115,200 baud, 8N1. */
const BYTE_US = 86.8;

function withUart() {
  const bench = idleBench();
  const { rp } = bench.machine.chip;
  for (const pin of [0, 1]) rp.writeUint32(IO_CTRL(pin), 2);
  rp.writeUint32(UART + 0x24, 67);
  rp.writeUint32(UART + 0x28, 52);
  rp.writeUint32(UART + 0x2c, 0x70);
  rp.writeUint32(UART + 0x30, 0x301);
  const put = (text) => [...text].forEach((it) => rp.writeUint32(UART + UARTDR, it.charCodeAt(0)));
  return { bench, rp, put };
}

test('a line takes its time on the wire and is whole at its newline', () => {
  const { bench, put } = withUart();
  put('hello\n');
  bench.runUntilUs(5.5 * BYTE_US);
  assert.deepEqual(bench.terminal.lines, []);
  bench.runUntilUs(6.5 * BYTE_US);
  assert.equal(bench.terminal.lines[0].text, 'hello');
  assert.ok(Math.abs(bench.terminal.lines[0].at_us - BYTE_US) < 2);
});

test('a full FIFO shows, and what is written into it is lost', () => {
  const { bench, rp, put } = withUart();
  put('x'.repeat(32));
  assert.equal(rp.readUint32(UART + UARTFR) & 0x20, 0);
  put('x');
  assert.equal(rp.readUint32(UART + UARTFR) & 0x28, 0x28, 'full and busy');
  put('y\n');
  assert.equal(bench.terminal.lostBytes, 2);
  bench.runUntilUs(40 * BYTE_US);
  assert.equal(rp.readUint32(UART + UARTFR) & 0xa8, 0x80, 'empty, not busy');
});

test('what is said arrives byte by byte; a board that is off hears nothing', () => {
  const { bench, rp } = withUart();
  bench.apply({ signal: 'say', value: 'ab' });
  bench.runUntilUs(1.5 * BYTE_US);
  assert.equal(rp.readUint32(UART + UARTDR), 0x61);
  assert.equal(rp.readUint32(UART + UARTFR) & 0x10, 0x10, 'nothing more yet');
  bench.runUntilUs(4 * BYTE_US);
  assert.deepEqual([rp.readUint32(UART + UARTDR), rp.readUint32(UART + UARTDR)], [0x62, 0x0a]);
  bench.cut();
  bench.apply({ signal: 'say', value: 'c' });
  bench.runUntilUs(10 * BYTE_US);
  assert.equal(bench.terminal.unheardBytes, 2);
});

test('inputs are active low, and stay over a loss of supply', () => {
  const bench = idleBench();
  const pins = () => {
    const { rp } = bench.machine.chip;
    for (let pin = 0; pin < 30; pin++) rp.writeUint32(PADS(pin), 0x4a);
    return rp.readUint32(SIO_IN);
  };
  assert.equal(pins() & 0x3ffc, 0x3ffc, 'all at rest');
  bench.apply({ signal: 'shaft', value: '1' });
  bench.apply({ signal: 'button_act', value: '1' });
  assert.equal(pins() & 0x3ffc, 0x1ff8);
  bench.cut();
  bench.apply({ signal: 'shaft', value: '0' });
  bench.powerUp();
  assert.equal(pins() & 0x3ffc, 0x1ffc);
});

test('the needle level is a quarter of the tap, 3.3 V full scale', () => {
  const bench = idleBench();
  const reading = (mv) => {
    bench.apply({ signal: 'needle_mv', value: String(mv) });
    const { rp } = bench.machine.chip;
    rp.writeUint32(ADC_CS, 5);
    bench.runUntilUs(bench.machine.cycle / 125 + 3);
    return rp.readUint32(ADC_RESULT);
  };
  assert.deepEqual([0, 6_600, 13_200, 20_000].map(reading), [0, 2048, 4095, 4095]);
});

test('lamp and buzzer are recorded, and go off with the supply', () => {
  const bench = idleBench();
  const { rp } = bench.machine.chip;
  rp.writeUint32(IO_CTRL(18), 5);
  rp.writeUint32(SIO_OE_SET, 1 << 18);
  bench.runUntilUs(10);
  rp.writeUint32(SIO_OUT_SET, 1 << 18);
  bench.runUntilUs(20);
  rp.writeUint32(SIO_OUT_CLR, 1 << 18);
  rp.writeUint32(SIO_OUT_SET, 1 << 18);
  bench.cut();
  assert.deepEqual(
    bench.lamp.changes.map(({ on }) => on),
    [true, false, true, false],
  );
  assert.ok(Math.abs(bench.lamp.changes[0].at_us - 10) < 0.1);
  assert.deepEqual(bench.buzzer.changes, []);
});

test('a cut says what it fell into; its tear is by seed and cycle', () => {
  const bench = idleBench();
  bench.eeprom.select(false);
  [0, 0, 1].forEach((byte) => bench.eeprom.write(byte));
  bench.eeprom.stop();
  bench.runUntilUs(100);
  const tear = bench.drawTear();
  assert.equal(bench.drawTear().name, tear.name);
  bench.cut(tear);
  assert.deepEqual(bench.cuts, [
    {
      at_us: bench.machine.cycle / 125,
      cycle: bench.machine.cycle,
      phase: 'program',
      page: 0,
      tear: tear.name,
      program_cycles: 1,
    },
  ]);
  bench.cut();
  assert.equal(bench.cuts.length, 1, 'no supply, no cut');
});

test('the answer to a warning ends with the cycle before the line that says durable', () => {
  const reactions = new Reactions();
  reactions.programmed({ page: 1, beginCycle: 10, endCycle: 900 });
  reactions.warned(1_000);
  reactions.programmed({ page: 2, beginCycle: 2_000, endCycle: 500_000 });
  reactions.programmed({ page: 3, beginCycle: 501_000, endCycle: 1_001_000 });
  reactions.said({ at_us: 9_000, text: 'durable 1 2 3 4' });
  reactions.programmed({ page: 4, beginCycle: 2_000_000, endCycle: 2_500_000 });
  reactions.ended(3_000_000);
  const [answer] = reactions.all();
  assert.equal(answer.durable_cycles, 1_000_000);
  assert.equal(answer.durable_us, 8_000);
  assert.equal(answer.line_us, 8_992);
  assert.deepEqual(
    answer.program_cycles.map(({ page }) => page),
    [2, 3, 4],
  );
});

test('without that line it is the last cycle that ended; a cycle cut short does not count', () => {
  const reactions = new Reactions();
  reactions.warned(0);
  reactions.programmed({ page: 2, beginCycle: 10, endCycle: 600 });
  reactions.programmed({ page: 3, beginCycle: 700, endCycle: 1_300 });
  reactions.ended(1_200);
  reactions.warned(5_000);
  reactions.ended(6_000);
  assert.deepEqual(
    reactions.all().map((it) => it.durable_cycles),
    [600, null],
  );
});
