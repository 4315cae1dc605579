import assert from 'node:assert/strict';
import { test } from 'node:test';
import { ClockChip } from '../ds3231.mjs';

function registers(chip, first, count) {
  assert.ok(chip.select());
  chip.write(first);
  assert.ok(chip.select());
  return Array.from({ length: count }, () => chip.read());
}

function write(chip, ...bytes) {
  assert.ok(chip.select());
  for (const byte of bytes) chip.write(byte);
  chip.stop();
}

test('time goes on in binary-coded decimals', () => {
  const time = { us: 0 };
  const chip = new ClockChip({ start: '2028-02-28T23:59:58', nowUs: () => time.us });
  assert.deepEqual(registers(chip, 0, 7), [0x58, 0x59, 0x23, 2, 0x28, 0x02, 0x28]);
  time.us = 2_000_000;
  assert.deepEqual(registers(chip, 0, 7), [0x00, 0x00, 0x00, 3, 0x29, 0x02, 0x28], 'a leap year');
});

test('a date that is set is kept, and goes on', () => {
  const time = { us: 5_000_000 };
  const chip = new ClockChip({ start: null, nowUs: () => time.us });
  write(chip, 0, 0x30, 0x15, 0x08, 1, 0x02, 0x03, 0x26);
  time.us += 31_000_000;
  assert.deepEqual(registers(chip, 0, 3), [0x01, 0x16, 0x08]);
  assert.deepEqual(registers(chip, 4, 3), [0x02, 0x03, 0x26]);
});

test('the flag of a stopped oscillator stays until it is cleared, and cannot be set', () => {
  const chip = new ClockChip({ start: null, nowUs: () => 0 });
  assert.equal(registers(chip, 0x0f, 1)[0] & 0x80, 0x80);
  write(chip, 0x0f, 0x00);
  assert.equal(registers(chip, 0x0f, 1)[0] & 0x80, 0);
  write(chip, 0x0f, 0x80);
  assert.equal(registers(chip, 0x0f, 1)[0] & 0x80, 0);
  const set = new ClockChip({ start: '2026-03-02T08:00:00', nowUs: () => 0 });
  assert.equal(registers(set, 0x0f, 1)[0] & 0x80, 0);
});

test('a missing chip answers nothing; a start that is no date is refused', () => {
  const chip = new ClockChip({ start: null, nowUs: () => 0 });
  chip.isMissing = true;
  assert.ok(!chip.select());
  assert.throws(() => new ClockChip({ start: 'today', nowUs: () => 0 }), /no date/);
});
