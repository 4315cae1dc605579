/**
 * I²C0 with its wires: rp2040js's controller made to take its time, and the parts on it.
 *
 * A byte takes 9 clocks of the period that the image has set (IC_FS_SCL_HCNT + LCNT), a
 * stop and a repeated start one, a start two (with the free time before it; assumption).
 * What is corrected in the stock controller (RP2040 datasheet, section on I2C):
 * - an abort empties the transmit FIFO, so it sets TX_EMPTY; bytes are refused until the
 *   abort is cleared;
 * - TX_EMPTY follows the FIFO's level and, with TX_EMPTY_CTRL set, comes when the byte has
 *   gone out, not before;
 * - a command that turns from writing to reading, or back, begins with a repeated start
 *   and the address, also when it does not ask for it;
 * - writing 0 to IC_ENABLE clears the raw interrupt status and
 *   abandons the transfer (that STOP_DET is cleared too is an inference).
 *
 * A line held low: SCL low stops a transfer where it is; SDA low loses arbitration at the
 * first address bit (assumption). The pins show the levels of the wires, so that the
 * image can clock a held bus free by GPIO.
 */

import { NS_PER_CYCLE } from './time.mjs';

const IC_DATA_CMD = 0x10;
const IC_ENABLE = 0x6c;
const CMD_READ = 1 << 8;
const CMD_STOP = 1 << 9;
const CMD_RESTART = 1 << 10;
const ENABLE = 1;
const TX_EMPTY_CTRL = 1 << 8;
const R_TX_ABRT = 1 << 6;
const R_TX_EMPTY = 1 << 4;
const BITS_PER_BYTE = 9;
const FUNCTION_I2C = 3;
const STATE_IDLE = 0;
const PIN_LOW = 0;

/**
 * @typedef {object} Part A part on the bus.
 * @property {(isRead: boolean) => boolean} select Its address came; whether it answers.
 * @property {(byte: number) => boolean} write
 * @property {() => number} read
 * @property {() => void} stop
 * @property {() => void} abandon The master went away without a stop.
 */

/** The wires and the parts. */
export class Bus {
  /** Transfers refused at their address, by address. @type {Map<number, number>} */
  refusals = new Map();
  /** Clock pulses by GPIO that were seen while SDA was held. */
  pulsesSeen = 0;

  #parts;
  #pins;
  #selected = null;
  #isReading = false;
  #isSclHeld = false;
  #sdaPulsesLeft = 0;
  #stalled = null;
  #controller = null;
  #lines = null;

  /**
   * @param {object} options
   * @param {Map<number, Part>} options.parts By 7-bit address.
   * @param {{sda: number, scl: number}} options.pins GPIO numbers.
   */
  constructor({ parts, pins }) {
    this.#parts = parts;
    this.#pins = pins;
  }

  /** Holds SCL low, or lets it go. @param {boolean} isHeld */
  holdScl(isHeld) {
    this.#isSclHeld = isHeld;
    this.#showLines();
    if (!isHeld && this.#stalled) {
      const { bits, then } = this.#stalled;
      this.#stalled = null;
      this.#controller.after(bits, then);
    }
  }

  /** Holds SDA low until `pulses` clock pulses have come; 0 lets it go. @param {number} pulses */
  holdSda(pulses) {
    this.#sdaPulsesLeft = pulses;
    this.#showLines();
  }

  /** @returns {boolean} Whether a part holds SDA low. */
  get isSdaHeld() {
    return this.#sdaPulsesLeft > 0;
  }

  /**
   * The chip goes away. A reset in the middle of a read leaves the part driving SDA until
   * it has been clocked to the end of its byte (I²C-bus specification, bus clear).
   * @param {'power'|'reset'} why
   */
  gone(why) {
    if (why === 'reset' && this.#selected && this.#isReading) this.#sdaPulsesLeft = BITS_PER_BYTE;
    if (why === 'power') this.#sdaPulsesLeft = 0;
    this.#abandon();
    this.#stalled = null;
    this.#controller = null;
    this.#lines = null;
  }

  /** Wires a new chip up. @param {import('./chip.mjs').Chip} chip */
  attach(chip) {
    const { rp } = chip;
    this.#wireController(rp.i2c[0], rp);
    const sda = rp.gpio[this.#pins.sda];
    const scl = rp.gpio[this.#pins.scl];
    this.#lines = { sda, scl };
    let wasHigh = true;
    scl.addListener(() => {
      const isHigh = this.#levelOf(scl, this.#isSclHeld);
      if (isHigh && !wasHigh && this.#sdaPulsesLeft > 0) {
        this.#sdaPulsesLeft -= 1;
        this.pulsesSeen += 1;
      }
      wasHigh = isHigh;
      this.#showLines();
    });
    sda.addListener(() => this.#showLines());
    this.#showLines();
  }

  #levelOf(pin, isHeld) {
    return pin.value !== PIN_LOW && !isHeld;
  }

  #showLines() {
    if (!this.#lines) return;
    const { sda, scl } = this.#lines;
    sda.setInputValue(this.#levelOf(sda, this.#sdaPulsesLeft > 0));
    scl.setInputValue(this.#levelOf(scl, this.#isSclHeld));
  }

  #isWired() {
    const { sda, scl } = this.#lines;
    return sda.functionSelect === FUNCTION_I2C && scl.functionSelect === FUNCTION_I2C;
  }

  #abandon() {
    this.#selected?.abandon();
    this.#selected = null;
  }

  #wireController(i2c, rp) {
    const controller = new Controller(i2c, rp, () => this.#isSclHeld);
    this.#controller = controller;
    controller.onStall = (stalled) => {
      this.#stalled = stalled;
    };
    controller.onAbandon = () => {
      this.#stalled = null;
      this.#abandon();
    };
    i2c.onStart = () => {
      controller.after(this.#selected ? 1 : 2, () => i2c.completeStart());
    };
    i2c.onConnect = (address, mode) => {
      if (this.#sdaPulsesLeft > 0) {
        controller.after(1, () => i2c.arbitrationLost());
        return;
      }
      controller.after(BITS_PER_BYTE, () => {
        const part = this.#parts.get(address);
        this.#isReading = mode === 1;
        const answers = this.#isWired() && part !== undefined && part.select(this.#isReading);
        if (this.#selected && this.#selected !== part) this.#selected.abandon();
        this.#selected = answers ? part : null;
        if (!answers) this.refusals.set(address, (this.refusals.get(address) ?? 0) + 1);
        i2c.completeConnect(answers);
      });
    };
    i2c.onWriteByte = (byte) => {
      controller.shift(() => {
        i2c.completeWrite(this.#selected !== null && this.#selected.write(byte));
      });
    };
    i2c.onReadByte = () => {
      controller.shift(() => {
        i2c.completeRead(this.#selected ? this.#selected.read() : 0xff);
      });
    };
    i2c.onStop = () => {
      controller.after(1, () => {
        this.#selected?.stop();
        this.#selected = null;
        i2c.completeStop();
      });
    };
  }
}

/** The stock controller with its corrections and its clock. */
class Controller {
  onStall = () => {};
  onAbandon = () => {};

  #i2c;
  #alarm;
  #then = null;
  #isClockHeld;
  #isShifting = false;
  #lastCommand = null;

  constructor(i2c, rp, isClockHeld) {
    this.#i2c = i2c;
    this.#isClockHeld = isClockHeld;
    this.#alarm = rp.clock.createAlarm(() => {
      const then = this.#then;
      this.#then = null;
      then();
    });
    this.#correctInterrupts();
    this.#correctWrites();
  }

  /** Calls `then` after `bits` clock periods; while SCL is held, not before it is free. */
  after(bits, then) {
    if (this.#isClockHeld()) {
      this.onStall({ bits, then });
      return;
    }
    const { sclLowPeriod, sclHighPeriod } = this.#i2c;
    this.#then = () => (this.#isClockHeld() ? this.onStall({ bits, then }) : then());
    this.#alarm.schedule(bits * (sclLowPeriod + sclHighPeriod) * NS_PER_CYCLE);
  }

  /** Shifts a byte out or in, then calls `then`. */
  shift(then) {
    this.#isShifting = true;
    this.after(BITS_PER_BYTE, () => {
      this.#isShifting = false;
      this.#showTxEmpty();
      then();
    });
  }

  /** TX_EMPTY is a level: it follows the FIFO and, if so set, the shift register. */
  #showTxEmpty() {
    const i2c = this.#i2c;
    const waits = this.#isShifting && (i2c.control & TX_EMPTY_CTRL) !== 0;
    const isEmpty = i2c.txFIFO.itemCount <= i2c.txThreshold && !waits;
    i2c.intRaw = isEmpty ? i2c.intRaw | R_TX_EMPTY : i2c.intRaw & ~R_TX_EMPTY;
    i2c.checkInterrupts();
  }

  #correctInterrupts() {
    const i2c = this.#i2c;
    const stockSet = i2c.setInterrupts.bind(i2c);
    i2c.setInterrupts = (mask) => (mask === R_TX_EMPTY ? this.#showTxEmpty() : stockSet(mask));
    const stockAbort = i2c.abort.bind(i2c);
    i2c.abort = (reason) => {
      stockAbort(reason);
      this.#lastCommand = null;
      this.#showTxEmpty();
    };
  }

  #correctWrites() {
    const i2c = this.#i2c;
    const stockWrite = i2c.writeUint32.bind(i2c);
    i2c.writeUint32 = (offset, value) => {
      if (offset === IC_DATA_CMD) {
        if (i2c.intRaw & R_TX_ABRT) return;
        value = this.#withRestart(value);
      }
      stockWrite(offset, value);
      if (offset === IC_ENABLE && !(value & ENABLE)) this.#disable();
      else if (offset === IC_DATA_CMD || offset === IC_ENABLE) this.#showTxEmpty();
    };
  }

  /** Marks a command that turns the direction of a transfer under way. */
  #withRestart(command) {
    const isTurn = this.#lastCommand !== null && (this.#lastCommand ^ command) & CMD_READ;
    this.#lastCommand = command & CMD_STOP ? null : command;
    return isTurn ? command | CMD_RESTART : command;
  }

  #disable() {
    const i2c = this.#i2c;
    this.#alarm.cancel();
    this.#then = null;
    this.#isShifting = false;
    this.#lastCommand = null;
    i2c.state = STATE_IDLE;
    i2c.busy = false;
    i2c.stop = false;
    i2c.pendingRestart = false;
    i2c.intRaw = 0;
    i2c.checkInterrupts();
    this.onAbandon();
  }
}
