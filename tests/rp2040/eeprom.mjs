/**
 * A 24-series EEPROM as `docs/FAULT_MODEL.md` describes it: 32 KiB in pages of 64 bytes.
 *
 * Invariants: cells change only at the end of a program cycle, or by a cut in it; a cycle
 * begins at a Stop after at least one data byte, at no other moment; no page but the one
 * addressed changes.
 *
 * Sources: AT24C256C §7.1 (wrap within the page, start of the cycle at Stop), §7.2 (no
 * acknowledge until it ends); AT24C512C §7.5 (write-protect is sampled at Stop). A cycle
 * takes 3 to 5 ms, drawn (5 ms: data sheets, from memory; the spread: assumption).
 *
 * Not modelled: wear-out, FRAM, stuck and misdirected pages (the host's simulator has
 * them).
 */

import { Pcg32 } from './random.mjs';
import { CYCLES_PER_US } from './time.mjs';

/** Bytes of the part. */
export const PART_BYTES = 32_768;
/** Bytes of a page. */
export const PAGE_BYTES = 64;
/** Shortest and longest program cycle, µs. */
export const BUSY_US = [3_000, 5_000];

/**
 * @typedef {object} ProgramCycle
 * @property {number} page Page number.
 * @property {number} beginCycle Processor cycle of the Stop.
 * @property {number} endCycle Processor cycle from which the page is durable.
 */

/** The part at bus address 0x50. */
export class Eeprom {
  /** Not acknowledging at all: missing, or its supply wire is off. */
  isMissing = false;
  /** Level of the write-protect pin. */
  isWriteProtected = false;
  /** Program cycles begun, by page. */
  cyclesByPage = new Uint32Array(PART_BYTES / PAGE_BYTES);
  /** Told of each program cycle as it begins. @type {(cycle: ProgramCycle) => void} */
  onProgram = () => {};

  #cells;
  #now;
  #random;
  #busyUs;
  #counter = 0;
  #header = [];
  #latch = new Map();
  #cycle = null;
  #phase = 'idle';

  /**
   * @param {object} options
   * @param {Uint8Array} [options.image] What the cells hold; blank (0xFF) without.
   * @param {() => number} options.now The processor cycle it is.
   * @param {number} [options.seed] From which the length of each cycle is drawn.
   * @param {[number, number]} [options.busyUs] Shortest and longest cycle, µs.
   */
  constructor({ image, now, seed = 1, busyUs = BUSY_US }) {
    if (image && image.length !== PART_BYTES) {
      throw new Error(`a part image has ${PART_BYTES} bytes, this one ${image.length}`);
    }
    this.#cells = image ? Uint8Array.from(image) : new Uint8Array(PART_BYTES).fill(0xff);
    this.#now = now;
    this.#random = new Pcg32(seed, 0xee9);
    this.#busyUs = busyUs;
  }

  /** @returns {Uint8Array} A copy of what the cells hold now. */
  image() {
    this.#settle();
    return this.#cells.slice();
  }

  /** @returns {boolean} Whether a program cycle is under way. */
  get isBusy() {
    this.#settle();
    return this.#cycle !== null;
  }

  /**
   * What it is doing.
   * @returns {'idle'|'address'|'read'|'write'|'program'} `address`: addressed for a write,
   *   no data byte yet.
   */
  get phase() {
    return this.isBusy ? 'program' : this.#phase;
  }

  /** @returns {number|null} Page of the cycle under way. */
  get pageUnderWay() {
    return this.isBusy ? this.#cycle.page : null;
  }

  #settle() {
    if (this.#cycle && this.#now() >= this.#cycle.endCycle) {
      this.#pageOf(this.#cells).set(this.#whole());
      this.#cycle = null;
    }
  }

  #pageOf(cells) {
    const start = this.#cycle.page * PAGE_BYTES;
    return cells.subarray(start, start + PAGE_BYTES);
  }

  /** What the page under way holds after a whole cycle. */
  #whole() {
    const page = this.#pageOf(this.#cells).slice();
    for (const [place, byte] of this.#cycle.bytes) page[place] = byte;
    return page;
  }

  /**
   * Its address came. A start in the middle of a write abandons that write.
   * @param {boolean} isRead
   * @returns {boolean} Whether it acknowledges.
   */
  select(isRead) {
    this.#settle();
    this.#latch = new Map();
    this.#header = [];
    if (this.isMissing || this.#cycle) return false;
    this.#phase = isRead ? 'read' : 'address';
    return true;
  }

  /**
   * A byte of a write: two of the address, then data, which wraps within the page.
   * @param {number} byte
   * @returns {boolean} Whether it acknowledges.
   */
  write(byte) {
    if (this.#header.length < 2) {
      this.#header.push(byte);
      const [high, low] = this.#header;
      if (low !== undefined) this.#counter = (high * 256 + low) % PART_BYTES;
      return true;
    }
    this.#phase = 'write';
    const place = this.#counter % PAGE_BYTES;
    this.#latch.set(place, byte);
    this.#counter += place === PAGE_BYTES - 1 ? 1 - PAGE_BYTES : 1;
    return true;
  }

  /** @returns {number} The byte at the address counter, which goes on over page borders. */
  read() {
    const byte = this.#cells[this.#counter];
    this.#counter = (this.#counter + 1) % PART_BYTES;
    return byte;
  }

  /** A Stop: begins a program cycle if data was received. */
  stop() {
    this.#phase = 'idle';
    const bytes = this.#latch;
    this.#latch = new Map();
    if (bytes.size === 0 || this.isWriteProtected || this.isMissing) return;
    const [shortest, longest] = this.#busyUs;
    const spread = ((longest - shortest) * this.#random.nextU32()) / 2 ** 32;
    const page = Math.floor(this.#counter / PAGE_BYTES);
    const beginCycle = this.#now();
    const endCycle = beginCycle + Math.round((longest - spread) * CYCLES_PER_US);
    this.#cycle = { page, bytes, endCycle };
    this.cyclesByPage[page] += 1;
    this.onProgram({ page, beginCycle, endCycle });
  }

  /** The master went away without a Stop: what was received is discarded. */
  abandon() {
    this.#phase = 'idle';
    this.#latch = new Map();
  }

  /**
   * What the cells would hold after a cut at this moment. Changes nothing.
   * @param {import('./tear.mjs').Tear} tear What is left of a page under way.
   * @returns {Uint8Array}
   */
  imageAfterCut(tear) {
    const cells = this.image();
    if (this.#cycle) tear.apply(this.#pageOf(cells), this.#whole());
    return cells;
  }

  /**
   * The supply goes: a cycle under way leaves what `tear` says, a transfer is discarded.
   * @param {import('./tear.mjs').Tear} tear
   */
  cut(tear) {
    this.#cells = this.imageAfterCut(tear);
    this.#cycle = null;
    this.#counter = 0;
    this.abandon();
  }
}
