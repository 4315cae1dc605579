/** Files and benches that several tests need. */

import uf2 from 'uf2';
import { Bench } from '../bench.mjs';
import { FLASH_START } from '../chip.mjs';
import { at, flashOf, to } from './thumb.mjs';

const PAYLOAD_BYTES = 256;

/** A UF2 file of this flash. @param {Uint8Array} flash */
export function uf2Of(flash, family = uf2.familyID('Raspberry Pi RP2040')) {
  const blocks = Math.ceil(flash.length / PAYLOAD_BYTES);
  const file = new Uint8Array(blocks * uf2.blockSize);
  for (let n = 0; n < blocks; n++) {
    const payload = new Uint8Array(PAYLOAD_BYTES);
    payload.set(flash.subarray(n * PAYLOAD_BYTES, (n + 1) * PAYLOAD_BYTES));
    const block = {
      flags: uf2.UF2Flags.familyIDPresent,
      flashAddress: FLASH_START + n * PAYLOAD_BYTES,
      payload,
      blockNumber: n,
      totalBlocks: blocks,
      boardFamily: family,
    };
    uf2.encodeBlock(block, file, n * uf2.blockSize);
  }
  return file;
}

/** An ELF file with these symbols and this flash. */
export function elfOf(symbols, flash) {
  const names = ['', ...symbols.map(({ name }) => name)];
  const nameBytes = new TextEncoder().encode(names.map((name) => `${name}\0`).join(''));
  const offsets = { program: 52, flash: 84 };
  offsets.symbols = offsets.flash + flash.length;
  offsets.names = offsets.symbols + 16 * names.length;
  offsets.sections = (offsets.names + nameBytes.length + 3) & ~3;
  const file = new Uint8Array(offsets.sections + 3 * 40);
  const view = new DataView(file.buffer);
  const words = (at, ...values) => values.forEach((it, n) => view.setUint32(at + 4 * n, it, true));
  file.set([0x7f, 0x45, 0x4c, 0x46, 1, 1, 1]);
  words(28, offsets.program, offsets.sections);
  [52, 32, 1, 40, 3, 0].forEach((it, n) => view.setUint16(40 + 2 * n, it, true));
  words(offsets.program, 1, offsets.flash, FLASH_START, FLASH_START, flash.length, flash.length);
  file.set(flash, offsets.flash);
  let nameAt = 1;
  symbols.forEach(({ name, address, bytes = 0, isFunction = false }, n) => {
    const entry = offsets.symbols + 16 * (n + 1);
    words(entry, nameAt, address, bytes);
    file[entry + 12] = isFunction ? 2 : 1;
    nameAt += name.length + 1;
  });
  file.set(nameBytes, offsets.names);
  words(offsets.sections + 40 + 4, 2, 0, 0, offsets.symbols, 16 * names.length, 2);
  words(offsets.sections + 80 + 4, 3, 0, 0, offsets.names, nameBytes.length);
  return file;
}

/** A bench whose processor goes round in a loop, for tests that drive registers. */
export function idleBench(options = {}) {
  const bench = new Bench({
    flash: flashOf({ main: [at('end'), to('end')] }),
    start: 'vectors',
    busyUs: [5_000, 5_000],
    ...options,
  });
  bench.powerUp();
  return bench;
}
