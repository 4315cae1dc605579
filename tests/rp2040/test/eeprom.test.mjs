import assert from 'node:assert/strict';
import { test } from 'node:test';
import { Eeprom, PAGE_BYTES, PART_BYTES } from '../eeprom.mjs';
import { tearOf } from '../tear.mjs';

const BUSY_CYCLES = 5_000 * 125;

/** A part whose cycles all take 5 ms, and its clock. */
function bench(image) {
  const time = { cycle: 1_000 };
  const part = new Eeprom({ image, now: () => time.cycle, busyUs: [5_000, 5_000] });
  return { part, time };
}

function send(part, address, bytes) {
  assert.ok(part.select(false), 'the part answers');
  for (const byte of [address >> 8, address & 0xff, ...bytes]) assert.ok(part.write(byte));
}

function program({ part, time }, address, bytes) {
  send(part, address, bytes);
  part.stop();
  time.cycle += BUSY_CYCLES;
}

function read(part, address, count) {
  send(part, address, []);
  assert.ok(part.select(true));
  const bytes = Array.from({ length: count }, () => part.read());
  part.stop();
  return bytes;
}

test('AT24C256C §7.1: a write wraps within its page', () => {
  const it = bench();
  program(it, 2 * PAGE_BYTES - 2, [1, 2, 3, 4]);
  const image = it.part.image();
  assert.deepEqual([...image.subarray(2 * PAGE_BYTES - 2, 2 * PAGE_BYTES)], [1, 2]);
  assert.deepEqual([...image.subarray(PAGE_BYTES, PAGE_BYTES + 3)], [3, 4, 0xff]);
  assert.equal(image[2 * PAGE_BYTES], 0xff, 'the next page keeps its bytes');
});

test('AT24C256C §7.1: more than a page overwrites what came first', () => {
  const it = bench();
  program(it, 0, [...Array(PAGE_BYTES).fill(7), 9]);
  assert.deepEqual([...it.part.image().subarray(0, 2)], [9, 7]);
});

test('AT24C256C §7.1: the cycle begins at the Stop', () => {
  const { part, time } = bench();
  send(part, 0, [1]);
  time.cycle += 10 * BUSY_CYCLES;
  assert.ok(!part.isBusy, 'no Stop, no cycle');
  assert.equal(part.image()[0], 0xff);
  part.stop();
  assert.ok(part.isBusy);
  assert.equal(part.image()[0], 0xff, 'the cells change at its end');
});

test('AT24C256C §7.2: no acknowledge until the cycle ends', () => {
  const { part, time } = bench();
  send(part, 0, [1]);
  part.stop();
  time.cycle += BUSY_CYCLES - 1;
  assert.ok(!part.select(true), 'still busy');
  time.cycle += 1;
  assert.ok(part.select(true), 'the cycle has ended');
  assert.equal(part.image()[0], 1);
});

test('an address without data begins no cycle', () => {
  const { part } = bench();
  send(part, 5, []);
  part.stop();
  assert.ok(!part.isBusy);
});

test('a start in the middle of a write abandons it', () => {
  const { part } = bench();
  send(part, 0, [1]);
  assert.ok(part.select(true));
  part.stop();
  assert.ok(!part.isBusy);
  assert.equal(part.image()[0], 0xff);
});

test('a read goes over page borders, and from the end to the beginning', () => {
  const image = Uint8Array.from({ length: PART_BYTES }, (_, n) => n >> 6);
  const { part } = bench(image);
  assert.deepEqual(read(part, PAGE_BYTES - 1, 2), [0, 1]);
  assert.deepEqual(read(part, PART_BYTES - 1, 2), [0xff, 0]);
  assert.deepEqual(read(part, 0x8000 | PAGE_BYTES, 1), [1], 'high address bits are ignored');
});

test('AT24C512C §7.5: write-protect acknowledges, programs nothing, is not busy', () => {
  const it = bench();
  it.part.isWriteProtected = true;
  send(it.part, 0, [1]);
  it.part.stop();
  assert.ok(!it.part.isBusy);
  assert.equal(it.part.image()[0], 0xff);
});

test('a missing part answers nothing', () => {
  const { part } = bench();
  part.isMissing = true;
  assert.ok(!part.select(false));
  assert.ok(!part.select(true));
});

test('a cut in a transfer discards it', () => {
  const { part } = bench();
  send(part, 0, [1, 2]);
  assert.equal(part.phase, 'write');
  part.cut(tearOf('new'));
  assert.deepEqual([...part.image().subarray(0, 2)], [0xff, 0xff]);
  assert.equal(part.phase, 'idle');
});

test('a cut in the cycle tears the whole page and no other', () => {
  const it = bench(new Uint8Array(PART_BYTES).fill(0x11));
  send(it.part, PAGE_BYTES + 4, [0x22]);
  it.part.stop();
  it.time.cycle += BUSY_CYCLES - 1;
  assert.equal(it.part.pageUnderWay, 1);
  const forked = it.part.imageAfterCut(tearOf('g7'));
  assert.equal(it.part.image()[PAGE_BYTES + 4], 0x11, 'to look ahead changes nothing');
  it.part.cut(tearOf('g7'));
  const image = it.part.image();
  assert.deepEqual(image, forked);
  const changed = [...image.entries()].filter(([, byte]) => byte !== 0x11).map(([n]) => n);
  assert.ok(changed.length > PAGE_BYTES / 2, 'bytes that were not sent are torn too');
  assert.ok(changed.every((n) => n >= PAGE_BYTES && n < 2 * PAGE_BYTES));
  assert.ok(it.part.select(true), 'and it is not busy after the cut');
});

test('each tear of a cycle leaves what it says', () => {
  for (const [tear, first, sent] of [
    ['old', 0x11, 0x11],
    ['new', 0x11, 0x22],
    ['ff', 0xff, 0xff],
    ['p5', 0x11, 0x22],
    ['p4', 0x11, 0x11],
  ]) {
    const { part } = bench(new Uint8Array(PART_BYTES).fill(0x11));
    send(part, 4, [0x22]);
    part.stop();
    part.cut(tearOf(tear));
    assert.deepEqual([part.image()[0], part.image()[4]], [first, sent], tear);
  }
});

test('a cut after the cycle leaves the new page', () => {
  const it = bench();
  program(it, 0, [1]);
  it.part.cut(tearOf('old'));
  assert.equal(it.part.image()[0], 1);
});

test('cycles are counted by page and take 3 to 5 ms, by the seed', () => {
  const lengths = (seed) => {
    let cycle = 0;
    const part = new Eeprom({ now: () => cycle, seed });
    const seen = [];
    part.onProgram = ({ page, beginCycle, endCycle }) => seen.push([page, endCycle - beginCycle]);
    for (const page of [3, 3, 4, 3]) {
      send(part, page * PAGE_BYTES, [1]);
      part.stop();
      cycle += BUSY_CYCLES;
    }
    assert.deepEqual([part.cyclesByPage[3], part.cyclesByPage[4]], [3, 1]);
    return seen;
  };
  assert.deepEqual(lengths(5), lengths(5));
  assert.notDeepEqual(lengths(5), lengths(6));
  assert.ok(lengths(5).every(([, cycles]) => cycles >= 3_000 * 125 && cycles <= BUSY_CYCLES));
});

test('an image of another size is refused', () => {
  assert.throws(() => bench(new Uint8Array(100)), /32768 bytes/);
});
