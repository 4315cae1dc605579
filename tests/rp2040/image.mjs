/** Reads images as they are shipped: UF2 files for the RP2040's flash. */

import { readFileSync } from 'node:fs';
import uf2 from 'uf2';
import { FLASH_START } from './chip.mjs';

const FLASH_BYTES_MAX = 16 * 1024 * 1024;
const FAMILY = uf2.familyID('Raspberry Pi RP2040');

/**
 * The flash after the files were copied to the board's boot drive, one after the other.
 * @param {string[]} paths
 * @returns {Uint8Array} From 0x10000000 on, up to the last byte written; 0xFF between.
 * @throws {Error} For a file that is no whole UF2 for the RP2040.
 */
export function flashOfUf2(paths) {
  const blocks = paths.flatMap(blocksOf);
  const end = Math.max(...blocks.map(({ offset, payload }) => offset + payload.length));
  const flash = new Uint8Array(end).fill(0xff);
  for (const { offset, payload } of blocks) flash.set(payload, offset);
  return flash;
}

function blocksOf(path) {
  const bytes = readFileSync(path);
  if (bytes.length === 0 || bytes.length % uf2.blockSize !== 0) {
    throw new Error(`${path}: not a UF2 file: ${bytes.length} bytes, not whole blocks`);
  }
  const blocks = [];
  for (let at = 0; at < bytes.length; at += uf2.blockSize) {
    const block = uf2.decodeBlock(new Uint8Array(bytes.subarray(at, at + uf2.blockSize)));
    const { boardFamily, flags, flashAddress, payload, totalBlocks } = block;
    const offset = flashAddress - FLASH_START;
    if (flags & uf2.UF2Flags.notMainFlash) continue;
    if (flags & uf2.UF2Flags.familyIDPresent && boardFamily !== FAMILY) {
      throw new Error(`${path}: made for another chip (family 0x${boardFamily.toString(16)})`);
    }
    if (offset < 0 || offset + payload.length > FLASH_BYTES_MAX) {
      throw new Error(`${path}: a block at 0x${flashAddress.toString(16)} is not in the flash`);
    }
    const there = bytes.length / uf2.blockSize;
    if (totalBlocks !== there) {
      throw new Error(`${path}: ${totalBlocks} blocks promised, ${there} there`);
    }
    blocks.push({ offset, payload });
  }
  return blocks;
}
