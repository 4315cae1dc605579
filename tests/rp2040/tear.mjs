/**
 * What a cut leaves of a page whose program cycle had begun: the outcomes of
 * `docs/FAULT_MODEL.md`, with the same short names as `host-sim/world/src/bus/tear.rs`:
 * `old`, `new`, `ff`, `p<bytes>`, `m<hex mask>`, `g<hex seed>`.
 *
 * Invariant: a tear changes the whole page that it is given and nothing else.
 */

import { Pcg32 } from './random.mjs';

/**
 * @typedef {object} Tear
 * @property {string} name Its short name.
 * @property {(page: Uint8Array, whole: Uint8Array) => void} apply Turns `page` from what
 *   it held into what the cut leaves; `whole` is what a whole cycle would have left.
 */

/**
 * The tear of a short name.
 * @param {string} name
 * @returns {Tear}
 * @throws {Error} For a text that names no tear.
 */
export function tearOf(name) {
  const apply = outcome(name);
  if (!apply) {
    throw new Error(`"${name}" is no tear: old, new, ff, p<bytes>, m<hex mask> or g<hex seed>`);
  }
  return { name, apply };
}

function outcome(name) {
  switch (name) {
    case 'old':
      return () => {};
    case 'new':
      return (page, whole) => page.set(whole);
    case 'ff':
      return (page) => page.fill(0xff);
  }
  const number = name.slice(1);
  if (/^p\d{1,3}$/.test(name) && Number(number) <= 255) {
    return (page, whole) => page.set(whole.subarray(0, Number(number)));
  }
  if (/^m[0-9a-f]{1,32}$/.test(name)) {
    const mask = BigInt(`0x${number}`);
    return (page, whole) => {
      for (let n = 0; n < page.length; n++) {
        if ((mask >> BigInt(n)) & 1n) page[n] = whole[n];
      }
    };
  }
  if (/^g[0-9a-f]{1,16}$/.test(name)) {
    return (page) => new Pcg32(BigInt(`0x${number}`), 0x6a5b).fill(page);
  }
  return null;
}

/**
 * Any tear, by `seed`, each kind as likely as the others. The same seed gives the tear
 * that the host's simulator draws.
 * @param {number|bigint} seed
 * @param {number} pageBytes
 * @returns {Tear}
 */
export function drawTear(seed, pageBytes) {
  const random = new Pcg32(seed, 0x7ea2);
  switch (random.nextU32() % 6) {
    case 0:
      return tearOf('old');
    case 1:
      return tearOf('new');
    case 2:
      return tearOf(`p${random.nextU32() % (pageBytes + 1)}`);
    case 3: {
      const high = random.nextU64();
      return tearOf(`m${((high << 64n) | random.nextU64()).toString(16)}`);
    }
    case 4:
      return tearOf('ff');
    default:
      return tearOf(`g${random.nextU64().toString(16)}`);
  }
}
