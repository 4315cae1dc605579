import assert from 'node:assert/strict';
import { test } from 'node:test';
import { drawTear, tearOf } from '../tear.mjs';

const OLD = [10, 11, 12, 13, 14, 15, 16, 17];
const NEW = [20, 21, 22, 23, 24, 25, 26, 27];

function torn(name) {
  const page = Uint8Array.from(OLD);
  tearOf(name).apply(page, Uint8Array.from(NEW));
  return [...page];
}

test('each outcome is what its name says', () => {
  assert.deepEqual(torn('old'), OLD);
  assert.deepEqual(torn('new'), NEW);
  assert.deepEqual(torn('ff'), Array(8).fill(0xff));
  assert.deepEqual(torn('p0'), OLD);
  assert.deepEqual(torn('p3'), [20, 21, 22, 13, 14, 15, 16, 17]);
  assert.deepEqual(torn('p200'), NEW);
  assert.deepEqual(torn('m85'), [20, 11, 22, 13, 14, 15, 16, 27]);
});

// The same vector as in host-sim/world/src/bus/tear.rs: a seed means the same on both sides.
test('garbage is the bytes that the host simulator draws', () => {
  assert.deepEqual(torn('g5eed'), [241, 35, 35, 74, 103, 66, 35, 254]);
});

test('a name that is none is refused', () => {
  for (const name of ['', 'p', 'p300', 'mxyz', 'g', 'older', 'x1', 'P3']) {
    assert.throws(() => tearOf(name), /is no tear/, name);
  }
});

test('draws reach every kind and can be named again', () => {
  const kinds = new Set();
  for (let seed = 0; seed < 100; seed++) {
    const { name } = drawTear(seed, 64);
    assert.equal(tearOf(name).name, name);
    assert.equal(drawTear(seed, 64).name, name);
    kinds.add(/^(old|new|ff|[pmg])/.exec(name)[0]);
  }
  assert.deepEqual([...kinds].sort(), ['ff', 'g', 'm', 'new', 'old', 'p']);
});
