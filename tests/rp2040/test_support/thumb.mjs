/** A few Thumb instructions, enough to write the programs that the tests run (ARMv6-M). */

import { FLASH_START } from '../chip.mjs';

const VECTORS = 0x100;
const CODE = 0x200;
const STACK_TOP = 0x20040000;

/** Instructions of one halfword. */
export const op = {
  movs: (rd, value) => 0x2000 | (rd << 8) | value,
  adds: (rd, value) => 0x3000 | (rd << 8) | value,
  subs: (rd, value) => 0x3800 | (rd << 8) | value,
  cmp: (rd, value) => 0x2800 | (rd << 8) | value,
  addReg: (rd, rn, rm) => 0x1800 | (rm << 6) | (rn << 3) | rd,
  ldr: (rt, rn, word = 0) => 0x6800 | (word << 6) | (rn << 3) | rt,
  str: (rt, rn, word = 0) => 0x6000 | (word << 6) | (rn << 3) | rt,
  push: (list) => 0xb400 | list,
  pop: (list) => 0xbc00 | list,
  bxLr: 0x4770,
  cpsid: 0xb672,
  cpsie: 0xb662,
  wfi: 0xbf30,
  nop: 0xbf00,
  udf: 0xde00,
};
/** `label: 'x'` marks a place; these branch to it. */
export const to = (label) => ({ branch: 0xe000, label });
export const ifEqual = (label) => ({ branch: 0xd000, label });
export const ifNotEqual = (label) => ({ branch: 0xd100, label });
export const at = (label) => ({ mark: label });
/** Loads a 32-bit constant. */
export const load = (rt, value) => ({ rt, value });

/** The machine code of a function that will stand at an offset that is a multiple of 4. */
function assemble(items) {
  const marks = new Map();
  const code = [];
  for (const item of items) {
    if (item.mark) marks.set(item.mark, code.length);
    else code.push(item);
  }
  const poolAt = code.length + (code.length & 1);
  const pool = [];
  const halfwords = code.map((item, n) => {
    if (typeof item === 'number') return item;
    if (item.rt !== undefined) {
      pool.push(item.value & 0xffff, item.value >>> 16);
      const wordsOn = (poolAt + pool.length - 2 - ((n + 2) & ~1)) / 2;
      return 0x4800 | (item.rt << 8) | wordsOn;
    }
    const on = marks.get(item.label) - (n + 2);
    return item.branch | (on & (item.branch === 0xe000 ? 0x7ff : 0xff));
  });
  if (poolAt > halfwords.length) halfwords.push(op.nop);
  return Uint8Array.from([...halfwords, ...pool].flatMap((it) => [it & 0xff, (it >> 8) & 0xff]));
}

/**
 * A flash with a vector table and these functions; start it at the vectors.
 * @param {object} program
 * @param {(number|object)[]} program.main
 * @param {Object<number, (number|object)[]>} [program.handlers] By exception number.
 */
export function flashOf({ main, handlers = {} }) {
  const flash = new Uint8Array(0x1000).fill(0xff);
  const view = new DataView(flash.buffer);
  let offset = CODE;
  const place = (items) => {
    const code = assemble(items);
    flash.set(code, offset);
    const address = FLASH_START + offset + 1;
    offset += (code.length + 3) & ~3;
    return address;
  };
  view.setUint32(VECTORS, STACK_TOP, true);
  view.setUint32(VECTORS + 4, place(main), true);
  for (const [exception, items] of Object.entries(handlers)) {
    view.setUint32(VECTORS + 4 * Number(exception), place(items), true);
  }
  return flash;
}
