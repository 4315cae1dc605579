/** Reads the image as it is shipped: a UF2 file for the RP2040's flash. */

import { readFileSync } from 'node:fs';
import uf2 from 'uf2';
import { FLASH_START } from './chip.mjs';

const FLASH_BYTES_MAX = 16 * 1024 * 1024;

/**
 * The flash after the file was copied to the board's boot drive.
 * @param {string} path
 * @returns {Uint8Array} From 0x10000000 on, up to the last byte written; 0xFF between.
 * @throws {Error} For a file that is no whole UF2 for the RP2040.
 */
export function flashOfUf2(path) {
  const bytes = readFileSync(path);
  if (bytes.length === 0 || bytes.length % uf2.blockSize !== 0) {
    throw new Error(`${path}: not a UF2 file: ${bytes.length} bytes, not whole blocks`);
  }
  const rp2040 = uf2.familyID('Raspberry Pi RP2040');
  const blocks = [];
  for (let at = 0; at < bytes.length; at += uf2.blockSize) {
    const block = uf2.decodeBlock(new Uint8Array(bytes.subarray(at, at + uf2.blockSize)));
    if (!(block.flags & uf2.UF2Flags.notMainFlash)) blocks.push(block);
  }
  let end = 0;
  for (const { boardFamily, flags, flashAddress, payload, totalBlocks } of blocks) {
    const offset = flashAddress - FLASH_START;
    if (flags & uf2.UF2Flags.familyIDPresent && boardFamily !== rp2040) {
      throw new Error(`${path}: made for another chip (family 0x${boardFamily.toString(16)})`);
    }
    if (offset < 0 || offset + payload.length > FLASH_BYTES_MAX) {
      throw new Error(`${path}: a block at 0x${flashAddress.toString(16)} is not in the flash`);
    }
    if (totalBlocks !== bytes.length / uf2.blockSize) {
      throw new Error(`${path}: ${totalBlocks} blocks promised, ${blocks.length} there`);
    }
    end = Math.max(end, offset + payload.length);
  }
  const flash = new Uint8Array(end).fill(0xff);
  for (const { flashAddress, payload } of blocks) flash.set(payload, flashAddress - FLASH_START);
  return flash;
}
