import assert from 'node:assert/strict';
import { test } from 'node:test';
import { tearOf } from '../tear.mjs';
import { idleBench } from '../test_support/samples.mjs';

const I2C = 0x40044000;
const IC_CON = 0x00;
const IC_TAR = 0x04;
const IC_DATA_CMD = 0x10;
const IC_FS_SCL_HCNT = 0x1c;
const IC_FS_SCL_LCNT = 0x20;
const IC_RAW_INTR_STAT = 0x34;
const IC_TX_TL = 0x3c;
const IC_CLR_TX_ABRT = 0x54;
const IC_ENABLE = 0x6c;
const IC_STATUS = 0x70;
const IC_RXFLR = 0x78;
const IC_TX_ABRT_SOURCE = 0x80;
const R_STOP_DET = 1 << 9;
const R_TX_ABRT = 1 << 6;
const R_TX_EMPTY = 1 << 4;
const READ = 1 << 8;
const STOP = 1 << 9;
const IO_CTRL = (pin) => 0x40014004 + 8 * pin;
const SIO_IN = 0xd0000004;
const SIO_OE_SET = 0xd0000024;
const SIO_OE_CLR = 0xd0000028;
/** 400 kHz at 125 MHz. */
const BIT_CYCLES = 312;

/** A bench with its controller set up as the image does it. */
function wired() {
  const bench = idleBench();
  const { rp } = bench.machine.chip;
  const write = (offset, value) => rp.writeUint32(I2C + offset, value);
  const read = (offset) => rp.readUint32(I2C + offset);
  for (const pin of [16, 17]) {
    rp.writeUint32(0x4001c004 + 4 * pin, 0x4a);
    rp.writeUint32(IO_CTRL(pin), 3);
  }
  write(IC_ENABLE, 0);
  write(IC_CON, 0x165);
  write(IC_FS_SCL_HCNT, 125);
  write(IC_FS_SCL_LCNT, 187);
  write(IC_TX_TL, 0);
  write(IC_TAR, 0x50);
  write(IC_ENABLE, 1);
  const send = (...commands) => commands.forEach((command) => write(IC_DATA_CMD, command));
  const wait = (bits) => bench.machine.run(bench.machine.cycle + bits * BIT_CYCLES);
  return { bench, rp, write, read, send, wait };
}

/** The address of byte 0x0040, in one transfer with what follows. */
const AT_0040 = [0x00, 0x40];

test('a transfer takes its time: 9 clocks a byte, starts and stop', () => {
  const { bench, read, send } = wired();
  send(...AT_0040, 7 | STOP);
  const begin = bench.machine.cycle;
  while (!(read(IC_RAW_INTR_STAT) & R_STOP_DET)) bench.machine.run(bench.machine.cycle + 10);
  const bits = (bench.machine.cycle - begin) / BIT_CYCLES;
  assert.ok(bits >= 2 + 4 * 9 + 1 && bits < 2 + 4 * 9 + 1.2, `${bits} bits`);
  assert.equal(bench.eeprom.phase, 'program');
});

test('the program cycle begins at the Stop on the wire', () => {
  const { bench, send, wait } = wired();
  const begun = [];
  const stock = bench.eeprom.onProgram;
  bench.eeprom.onProgram = (program) => {
    begun.push(program.beginCycle);
    stock(program);
  };
  send(...AT_0040, 7 | STOP);
  const begin = bench.machine.cycle;
  wait(2 + 4 * 9 + 0.5);
  assert.equal(begun.length, 0);
  wait(1);
  assert.ok(Math.abs(begun[0] - begin - 39 * BIT_CYCLES) < 10);
});

test('turning from writing to reading repeats start and address', () => {
  const part = new Uint8Array(32_768);
  part.set([11, 22], 0x40);
  const { bench, read, send, wait } = wired();
  bench.eeprom.select(false);
  [...AT_0040, 11, 22].forEach((byte) => bench.eeprom.write(byte));
  bench.eeprom.stop();
  bench.runUntilUs(6_000);
  send(...AT_0040, READ, READ | STOP);
  wait(2 + 3 * 9 + 1 + 9 + 17);
  assert.equal(read(IC_RXFLR), 1, 'the second byte is still on its way');
  wait(2);
  assert.deepEqual([read(IC_DATA_CMD) & 0xff, read(IC_DATA_CMD) & 0xff], [11, 22]);
});

test('an absent address aborts: TX_EMPTY, a stop, and nothing is taken until it is cleared', () => {
  const { bench, read, send, wait, write } = wired();
  write(IC_ENABLE, 0);
  write(IC_TAR, 0x51);
  write(IC_ENABLE, 1);
  send(1, 2 | STOP);
  assert.equal(read(IC_RAW_INTR_STAT) & R_TX_EMPTY, 0);
  wait(13);
  assert.equal(read(IC_TX_ABRT_SOURCE) & 1, 1);
  const raw = read(IC_RAW_INTR_STAT);
  assert.equal(raw & (R_TX_ABRT | R_TX_EMPTY | R_STOP_DET), R_TX_ABRT | R_TX_EMPTY | R_STOP_DET);
  send(3 | STOP);
  wait(30);
  assert.equal(bench.bus.refusals.get(0x51), 1, 'refused while the abort stands');
  read(IC_CLR_TX_ABRT);
  send(3 | STOP);
  wait(30);
  assert.equal(bench.bus.refusals.get(0x51), 2);
});

test('TX_EMPTY with TX_EMPTY_CTRL comes when the last byte has gone out', () => {
  const { read, send, wait } = wired();
  send(0);
  wait(2 + 9 + 8);
  assert.equal(read(IC_RAW_INTR_STAT) & R_TX_EMPTY, 0, 'in the shift register');
  wait(1.5);
  assert.equal(read(IC_RAW_INTR_STAT) & R_TX_EMPTY, R_TX_EMPTY);
});

test('IC_ENABLE 0 abandons the transfer and clears the raw interrupts', () => {
  const { bench, read, send, wait, write } = wired();
  send(...AT_0040, 7);
  wait(30);
  write(IC_ENABLE, 0);
  assert.equal(read(IC_RAW_INTR_STAT), 0);
  assert.equal(read(IC_STATUS) & 1, 0);
  wait(100);
  assert.equal(bench.eeprom.phase, 'idle');
  assert.equal(bench.result().program_cycles.total, 0);
  write(IC_ENABLE, 1);
  send(...AT_0040, 7 | STOP);
  wait(40);
  assert.equal(bench.result().program_cycles.total, 1, 'and the next one works');
});

test('a busy part does not acknowledge', () => {
  const { bench, read, send, wait } = wired();
  send(...AT_0040, 7 | STOP);
  wait(45);
  send(READ | STOP);
  wait(15);
  assert.equal(read(IC_TX_ABRT_SOURCE) & 1, 1);
  read(IC_CLR_TX_ABRT);
  bench.runUntilUs(5_200);
  send(READ | STOP);
  wait(25);
  assert.equal(read(IC_RXFLR), 1);
});

test('pins that are not given to the controller reach nobody', () => {
  const { bench, rp, send, wait } = wired();
  rp.writeUint32(IO_CTRL(16), 5);
  send(0 | STOP);
  wait(30);
  assert.equal(bench.bus.refusals.get(0x50), 1);
});

test('SCL held low stops a transfer where it is, and it goes on afterwards', () => {
  const { bench, read, rp, send, wait } = wired();
  send(...AT_0040, 7 | STOP);
  wait(15);
  bench.bus.holdScl(true);
  wait(1_000);
  assert.equal(read(IC_RAW_INTR_STAT) & R_STOP_DET, 0);
  assert.equal((rp.readUint32(SIO_IN) >> 17) & 1, 0, 'the pin shows it');
  bench.bus.holdScl(false);
  wait(40);
  assert.equal(read(IC_RAW_INTR_STAT) & R_STOP_DET, R_STOP_DET);
});

test('SDA held low loses arbitration, until it has been clocked free by GPIO', () => {
  const { bench, read, rp, send, wait } = wired();
  bench.bus.holdSda(3);
  send(0 | STOP);
  wait(5);
  assert.equal(read(IC_TX_ABRT_SOURCE) & (1 << 12), 1 << 12);
  assert.equal((rp.readUint32(SIO_IN) >> 16) & 1, 0);
  rp.writeUint32(IO_CTRL(17), 5);
  for (let pulse = 1; pulse <= 3; pulse++) {
    rp.writeUint32(SIO_OE_SET, 1 << 17);
    assert.ok(bench.bus.isSdaHeld, `before the end of pulse ${pulse}`);
    rp.writeUint32(SIO_OE_CLR, 1 << 17);
  }
  assert.ok(!bench.bus.isSdaHeld);
  assert.equal((rp.readUint32(SIO_IN) >> 16) & 1, 1);
  assert.equal(bench.bus.pulsesSeen, 3);
});

test('a reset in the middle of a read leaves SDA low; a loss of supply does not', () => {
  for (const [why, isHeld] of [
    ['reset', true],
    ['power', false],
  ]) {
    const { bench, send, wait } = wired();
    send(READ | STOP);
    wait(15);
    bench.bus.gone(why);
    assert.equal(bench.bus.isSdaHeld, isHeld, why);
  }
});

test('a cut in a transfer discards it', () => {
  const { bench, send, wait } = wired();
  send(...AT_0040, 7 | STOP);
  wait(38.5);
  bench.cut(tearOf('new'));
  assert.equal(bench.cuts[0].phase, 'write');
  assert.ok(bench.eeprom.image().every((byte) => byte === 0xff));
});
