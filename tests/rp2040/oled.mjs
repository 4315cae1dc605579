/**
 * An SSD1306 display of 128 by 64 pixels at 0x3C, as `docs/FAULT_MODEL.md` says and as
 * `host-sim/world/src/bus/display.rs` models it: what a viewer would see after the bytes that
 * came.
 *
 * Invariants: memory changes only by data bytes and loss of supply; a command that is not
 * known is noted and changes nothing.
 *
 * Source: SSD1306 data sheet rev. 1.1, sections 8.1.5, 9 and 10 (from memory). Not
 * modelled: scrolling, the wiring of the rows, brightness, the charge pump's rise.
 */

import { Pcg32 } from './random.mjs';

/** Pixels in a row. */
export const COLUMNS = 128;
/** Rows of pixels. */
export const ROWS = 64;
const PAGES = ROWS / 8;

/** Settings after reset. */
const RESET = {
  addressing: 'page',
  columns: [0, COLUMNS - 1],
  pages: [0, PAGES - 1],
  startLine: 0,
  offset: 0,
  lastRow: ROWS - 1,
  isRemapped: false,
  scansBackwards: false,
  isAllOn: false,
  isInverse: false,
  hasPump: false,
  isOn: false,
  contrast: 0x7f,
};

/** The display. */
export class Display {
  /** Not acknowledging: missing or dead. */
  isMissing = false;
  /** First bytes of commands that it did not know, or that ended too early. */
  unknownCommands = [];
  /** Data bytes taken. */
  dataBytes = 0;
  /** What the commands have set. */
  settings = { ...RESET };

  #ram = new Uint8Array(COLUMNS * PAGES);
  #column = 0;
  #page = 0;
  #random;
  #expects = 'control';
  #command = [];

  /** @param {number} seed From which the memory's noise at power-up is drawn. */
  constructor(seed) {
    this.#random = new Pcg32(seed, 0xd15);
    this.powerUp();
  }

  /** Its supply came: settings as after reset, dark, memory arbitrary. */
  powerUp() {
    this.#random.fill(this.#ram);
    this.#column = 0;
    this.#page = 0;
    this.settings = { ...RESET };
    this.#restart();
  }

  /** @returns {boolean} Whether it acknowledges its address. */
  select() {
    this.#restart();
    return !this.isMissing;
  }

  /** @param {number} byte Control byte, command or data. @returns {boolean} */
  write(byte) {
    if (this.isMissing) return false;
    if (this.#expects === 'control') {
      const kind = byte & 0x40 ? 'data' : 'command';
      this.#expects = byte & 0x80 ? `one ${kind}` : kind;
      return true;
    }
    const isData = this.#expects.endsWith('data');
    if (this.#expects.startsWith('one')) this.#expects = 'control';
    if (isData) this.#store(byte);
    else this.#commandByte(byte);
    return true;
  }

  /** @returns {number} The status: bit 6 set while it is off. */
  read() {
    return this.settings.isOn ? 0x00 : 0x40;
  }

  /** The transfer ended; a command whose last byte is missing is dropped (assumption). */
  stop() {
    if (this.#command.length > 0) this.unknownCommands.push(this.#command[0]);
    this.#restart();
  }

  /** The transfer was abandoned. */
  abandon() {
    this.#restart();
  }

  /**
   * Whether a pixel is lit, on a module mounted as most are (common practice, no source).
   * @param {number} x 0 to 127, from the left.
   * @param {number} y 0 to 63, from the top.
   * @returns {boolean}
   */
  pixel(x, y) {
    const it = this.settings;
    const row = it.scansBackwards ? y : ROWS - 1 - y;
    if (!it.isOn || !it.hasPump || row > it.lastRow) return false;
    const column = it.isRemapped ? x : COLUMNS - 1 - x;
    const line = (row + it.startLine + it.offset) % ROWS;
    const bit = (this.#ram[(line >> 3) * COLUMNS + column] >> (line & 7)) & 1;
    return it.isAllOn || (bit === 1) !== it.isInverse;
  }

  /**
   * The picture in text, as `tests/screens/` holds them: a character is two pixels, one
   * above the other; lines end with their last lit pixel.
   * @returns {string}
   */
  text() {
    const lines = [];
    for (let y = 0; y < ROWS; y += 2) {
      let line = '';
      for (let x = 0; x < COLUMNS; x++) {
        line += ' ▀▄█'[(this.pixel(x, y) ? 1 : 0) + (this.pixel(x, y + 1) ? 2 : 0)];
      }
      lines.push(`${line.trimEnd()}\n`);
    }
    return lines.join('');
  }

  #restart() {
    this.#expects = 'control';
    this.#command = [];
  }

  #store(byte) {
    this.#ram[this.#page * COLUMNS + this.#column] = byte;
    this.dataBytes += 1;
    const { addressing, columns, pages } = this.settings;
    if (addressing === 'page') {
      this.#column = (this.#column + 1) % COLUMNS;
    } else if (addressing === 'horizontal') {
      this.#column = following(this.#column, columns, COLUMNS);
      if (this.#column === columns[0]) this.#page = following(this.#page, pages, PAGES);
    } else {
      this.#page = following(this.#page, pages, PAGES);
      if (this.#page === pages[0]) this.#column = following(this.#column, columns, COLUMNS);
    }
  }

  #commandByte(byte) {
    this.#command.push(byte);
    const [first, ...rest] = this.#command;
    if (rest.length < argumentsOf(first)) return;
    this.#command = [];
    if (!this.#obey(first, rest)) this.unknownCommands.push(first);
  }

  /** Whether the command is known. */
  #obey(command, [a = 0, b = 0]) {
    const it = this.settings;
    const isOdd = (command & 1) === 1;
    if (command <= 0x0f) this.#column = (this.#column & 0x70) | command;
    else if (command <= 0x1f) this.#column = ((command & 7) << 4) | (this.#column & 0x0f);
    else if (command === 0x20) {
      const addressing = ['horizontal', 'vertical', 'page'][a & 3];
      if (!addressing) return false;
      it.addressing = addressing;
    } else if (command === 0x21) {
      it.columns = [a & 0x7f, b & 0x7f];
      this.#column = a & 0x7f;
    } else if (command === 0x22) {
      it.pages = [a & 7, b & 7];
      this.#page = a & 7;
    } else if (command >= 0x40 && command <= 0x7f) it.startLine = command & 0x3f;
    else if (command === 0x81) it.contrast = a;
    else if (command === 0x8d) it.hasPump = (a & 4) !== 0;
    else if (command === 0xa0 || command === 0xa1) it.isRemapped = isOdd;
    else if (command === 0xa4 || command === 0xa5) it.isAllOn = isOdd;
    else if (command === 0xa6 || command === 0xa7) it.isInverse = isOdd;
    else if (command === 0xa8 && (a & 0x3f) >= 15) it.lastRow = a & 0x3f;
    else if (command === 0xae || command === 0xaf) it.isOn = isOdd;
    else if (command >= 0xb0 && command <= 0xb7) this.#page = command & 7;
    else if (command >= 0xc0 && command <= 0xcf) it.scansBackwards = (command & 8) !== 0;
    else if (command === 0xd3) it.offset = a & 0x3f;
    // Known, and not seen in a picture: scrolling off, clock, pre-charge, wiring of the
    // rows, deselect level, nothing.
    else return [0x2e, 0xd5, 0xd9, 0xda, 0xdb, 0xe3].includes(command);
    return true;
  }
}

/** The place after `place` in a window; after its last one comes its first. */
function following(place, [first, last], places) {
  return place === last ? first : (place + 1) % places;
}

/** Bytes that follow the first one of a command. */
function argumentsOf(command) {
  if ([0x20, 0x81, 0x8d, 0xa8, 0xd3, 0xd5, 0xd9, 0xda, 0xdb].includes(command)) return 1;
  if ([0x21, 0x22, 0xa3].includes(command)) return 2;
  if ([0x29, 0x2a].includes(command)) return 5;
  if ([0x26, 0x27].includes(command)) return 6;
  return 0;
}
