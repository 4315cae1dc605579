/**
 * The little of an ELF file that the harness needs: symbols, and what goes into flash.
 * 32-bit, little-endian (ELF specification 1.2).
 */

import { readFileSync } from 'node:fs';
import { FLASH_START } from './chip.mjs';

const SECTION_SYMBOLS = 2;
const SEGMENT_LOAD = 1;
const TYPE_FUNCTION = 2;

/** @typedef {{name: string, address: number, bytes: number, isFunction: boolean}} Symbol */

/** An ELF file. */
export class Elf {
  /** By their names as they stand in the file. @type {Map<string, Symbol>} */
  symbols = new Map();

  #bytes;
  #view;
  #functions;

  /** @param {Uint8Array} bytes @throws {Error} For what is no 32-bit little-endian ELF. */
  constructor(bytes) {
    this.#bytes = bytes;
    this.#view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
    if (
      bytes.length < 52 ||
      this.#view.getUint32(0) !== 0x7f454c46 ||
      bytes[4] !== 1 ||
      bytes[5] !== 1
    ) {
      throw new Error('not a 32-bit little-endian ELF file');
    }
    this.#readSymbols();
    this.#functions = [...this.symbols.values()]
      .filter((symbol) => symbol.isFunction)
      .sort((a, b) => a.address - b.address);
  }

  /** @param {string} path @returns {Elf} */
  static read(path) {
    try {
      return new Elf(new Uint8Array(readFileSync(path)));
    } catch (error) {
      throw new Error(`${path}: ${error.message}`);
    }
  }

  /**
   * @param {string} name As for `addressOf`.
   * @returns {boolean} Whether there is such a symbol.
   */
  has(name) {
    return this.symbols.has(name) || [...this.symbols.values()].some((it) => readable(it.name) === name);
  }

  /**
   * The address of a symbol.
   * @param {string} name As in the file, or as it reads demangled without its hash.
   * @returns {number}
   * @throws {Error} When there is none.
   */
  addressOf(name) {
    const symbol =
      this.symbols.get(name) ?? [...this.symbols.values()].find((it) => readable(it.name) === name);
    if (!symbol) throw new Error(`the ELF file has no symbol "${name}"`);
    return symbol.isFunction ? symbol.address & ~1 : symbol.address;
  }

  /**
   * Where an address is.
   * @param {number} address
   * @returns {string} Function and offset; the bare address when in none.
   */
  placeOf(address) {
    address &= ~1;
    const it = this.#functions.findLast((symbol) => (symbol.address & ~1) <= address);
    const offset = it ? address - (it.address & ~1) : 0;
    if (!it || offset >= Math.max(it.bytes, 2)) return `0x${address.toString(16)}`;
    return `${readable(it.name)}+0x${offset.toString(16)}`;
  }

  /** @returns {Uint8Array} What a programmer writes into the flash, from 0x10000000 on. */
  flash() {
    const view = this.#view;
    const [start, entry, count] = [
      view.getUint32(28, true),
      view.getUint16(42, true),
      view.getUint16(44, true),
    ];
    const pieces = [];
    for (let n = 0; n < count; n++) {
      const at = start + n * entry;
      const [offset, , address, bytes] = [4, 8, 12, 16].map((it) => view.getUint32(at + it, true));
      if (view.getUint32(at, true) === SEGMENT_LOAD && bytes > 0 && address >= FLASH_START) {
        pieces.push({
          at: address - FLASH_START,
          bytes: this.#bytes.subarray(offset, offset + bytes),
        });
      }
    }
    const flash = new Uint8Array(Math.max(0, ...pieces.map((it) => it.at + it.bytes.length)));
    flash.fill(0xff);
    for (const piece of pieces) flash.set(piece.bytes, piece.at);
    return flash;
  }

  #readSymbols() {
    const view = this.#view;
    const [start, entry, count] = [
      view.getUint32(32, true),
      view.getUint16(46, true),
      view.getUint16(48, true),
    ];
    const section = (n) => {
      const at = start + n * entry;
      const [type, offset, bytes, link] = [4, 16, 20, 24].map((it) =>
        view.getUint32(at + it, true),
      );
      return { type, offset, bytes, link };
    };
    for (let n = 0; n < count; n++) {
      const { type, offset, bytes, link } = section(n);
      if (type !== SECTION_SYMBOLS) continue;
      const names = section(link).offset;
      for (let at = offset; at < offset + bytes; at += 16) {
        const name = this.#text(names + view.getUint32(at, true));
        const isFunction = (this.#bytes[at + 12] & 0x0f) === TYPE_FUNCTION;
        const address = view.getUint32(at + 4, true);
        // Mapping symbols ($t, $d) name nothing.
        if (name && !name.startsWith('$')) {
          this.symbols.set(name, {
            name,
            address,
            bytes: view.getUint32(at + 8, true),
            isFunction,
          });
        }
      }
    }
  }

  #text(at) {
    const end = this.#bytes.indexOf(0, at);
    return new TextDecoder().decode(this.#bytes.subarray(at, end));
  }
}

/** A symbol's name for people: its path, without hashes; other languages' as they are. */
function readable(name) {
  if (name.startsWith('_R')) return pathOfV0(name.slice(2));
  return /^_ZN.*E(\.|$)/.test(name) ? pathOfLegacy(name.slice(3)) : name;
}

/** Rust's present mangling (RFC 2603): only the identifiers in it, in their order. */
function pathOfV0(mangled) {
  const parts = [];
  // Disambiguators and back references; lengths; all other letters are structure.
  const token = /[sB][0-9a-zA-Z]*_|(\d+)_?|./gy;
  for (let match; (match = token.exec(mangled)); ) {
    if (match[1] === undefined) continue;
    const end = token.lastIndex + Number(match[1]);
    parts.push(mangled.slice(token.lastIndex, end));
    token.lastIndex = end;
  }
  return parts.join('::');
}

/** Rust's older mangling. */
function pathOfLegacy(mangled) {
  const parts = [];
  let rest = mangled;
  for (let match; (match = /^(\d+)/.exec(rest)); ) {
    const bytes = Number(match[1]);
    parts.push(rest.slice(match[1].length, match[1].length + bytes));
    rest = rest.slice(match[1].length + bytes);
  }
  if (/^h[0-9a-f]{16}$/.test(parts.at(-1))) parts.pop();
  const escapes = { LT: '<', GT: '>', RF: '&', BP: '*', LP: '(', RP: ')', C: ',', u20: ' ' };
  return parts
    .join('::')
    .replace(/(^|::)_\$/g, '$1$')
    .replace(/\$(\w+?)\$/g, (whole, code) => escapes[code] ?? whole)
    .replace(/\.\./g, '::');
}
