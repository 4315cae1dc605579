/**
 * A DS3231 clock chip at 0x68: its registers, counting on in simulated time, also while
 * the board has no supply (it has a battery).
 *
 * Source: DS3231 data sheet, register map (from memory). Not modelled: alarms, 12-hour
 * mode, temperature, ageing, the century bit.
 */

const STATUS = 0x0f;
const OSCILLATOR_STOPPED = 0x80;
const TIME_REGISTERS = 7;
const REGISTERS = 0x13;

const toBcd = (value) => Math.floor(value / 10) * 16 + (value % 10);
const fromBcd = (byte) => (byte >> 4) * 10 + (byte & 0x0f);

/** The chip. */
export class ClockChip {
  /** Not there. */
  isMissing = false;

  #nowUs;
  #offsetMs;
  #registers = new Uint8Array(REGISTERS);
  #pointer = 0;
  #hasPointer = false;

  /**
   * @param {object} options
   * @param {string|null} options.start Date and time at 0 µs (ISO 8601, taken as they
   *   stand); null: its oscillator has stopped, the date is that of a new chip.
   * @param {() => number} options.nowUs
   */
  constructor({ start, nowUs }) {
    this.#nowUs = nowUs;
    this.#offsetMs = Date.parse(`${start ?? '2000-01-01T00:00:00'}Z`);
    if (Number.isNaN(this.#offsetMs)) throw new Error(`"${start}" is no date and time`);
    this.#registers[0x0e] = 0x1c;
    this.#registers[STATUS] = 0x08 | (start === null ? OSCILLATOR_STOPPED : 0);
    this.#latchTime();
  }

  /** @returns {boolean} */
  select() {
    if (this.isMissing) return false;
    this.#hasPointer = false;
    this.#latchTime();
    return true;
  }

  /** @param {number} byte @returns {boolean} */
  write(byte) {
    if (!this.#hasPointer) {
      this.#pointer = byte % REGISTERS;
      this.#hasPointer = true;
      return true;
    }
    const isFlagKept = this.#pointer === STATUS && !(this.#registers[STATUS] & 0x80);
    this.#registers[this.#pointer] = isFlagKept ? byte & 0x7f : byte;
    if (this.#pointer < TIME_REGISTERS) this.#takeTime();
    this.#pointer = (this.#pointer + 1) % REGISTERS;
    return true;
  }

  /** @returns {number} */
  read() {
    const byte = this.#registers[this.#pointer];
    this.#pointer = (this.#pointer + 1) % REGISTERS;
    return byte;
  }

  /** The transfer ended. */
  stop() {}

  /** The transfer was abandoned. */
  abandon() {}

  #latchTime() {
    const now = new Date(this.#offsetMs + Math.floor(this.#nowUs() / 1000));
    this.#registers.set([
      toBcd(now.getUTCSeconds()),
      toBcd(now.getUTCMinutes()),
      toBcd(now.getUTCHours()),
      now.getUTCDay() + 1,
      toBcd(now.getUTCDate()),
      toBcd(now.getUTCMonth() + 1),
      toBcd(now.getUTCFullYear() % 100),
    ]);
  }

  #takeTime() {
    const [seconds, minutes, hours, , day, month, year] = [...this.#registers].map(fromBcd);
    const at = Date.UTC(2000 + year, (month & 0x1f) - 1, day, hours, minutes, seconds);
    this.#offsetMs = at - Math.floor(this.#nowUs() / 1000);
  }
}
