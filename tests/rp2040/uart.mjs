/**
 * A terminal at UART0 (GP0, GP1): lines of text, at the speed that the image has set.
 *
 * What is corrected in the stock UART: sending takes its time through a FIFO of 32 bytes,
 * with TXFF, TXFE and BUSY to show it (PL011); the stock one sends at once. A byte that is
 * written while the FIFO is full is lost and counted.
 *
 * Not modelled: framing errors, the FIFO thresholds and the receive time-out of the
 * interrupt (each received byte interrupts), a baud rate that differs from the terminal's.
 */

import { NS_PER_CYCLE } from './time.mjs';

const UARTDR = 0;
const BUSY = 1 << 3;
const TXFF = 1 << 5;
const TXFE = 1 << 7;
const FIFO_BYTES = 32;
/** 8N1: start, eight bits, stop. */
const BITS_PER_BYTE = 10;
const FUNCTION_UART = 2;
const NEWLINE = 0x0a;
const CPU_HZ = 125_000_000;

/** @typedef {{at_us: number, text: string}} Line A line and when its first byte was out. */

/** The terminal. */
export class Terminal {
  /** Whole lines that came from the board. @type {Line[]} */
  lines = [];
  /** Bytes that the board wrote into a full FIFO. */
  lostBytes = 0;
  /** Bytes that came to the board while its FIFO was full, or it was off. */
  unheardBytes = 0;
  /** Told of each whole line. @type {(line: Line) => void} */
  onLine = () => {};

  #machine;
  #nowUs;
  #uart = null;
  #gpio = null;
  #partial = [];
  #partialAtUs = 0;
  #busyUntilCycle = 0;

  /**
   * @param {import('./machine.mjs').Machine} machine
   * @param {() => number} nowUs
   */
  constructor(machine, nowUs) {
    this.#machine = machine;
    this.#nowUs = nowUs;
  }

  /** @param {import('./chip.mjs').Chip} chip */
  attach(chip) {
    const { rp } = chip;
    const uart = rp.uart[0];
    this.#uart = uart;
    this.#gpio = rp.gpio;
    const sending = [];
    const alarm = rp.clock.createAlarm(() => {
      this.#receive(sending.shift());
      if (sending.length > 0) alarm.schedule(byteCycles(uart) * NS_PER_CYCLE);
    });
    const stockWrite = uart.writeUint32.bind(uart);
    uart.writeUint32 = (offset, value) => {
      if (offset !== UARTDR) {
        stockWrite(offset, value);
      } else if (!uart.enabled || !uart.txEnabled || sending.length > FIFO_BYTES) {
        this.lostBytes += 1;
      } else {
        sending.push(value & 0xff);
        if (sending.length === 1) alarm.schedule(byteCycles(uart) * NS_PER_CYCLE);
      }
    };
    // One more than the FIFO holds is in the shift register.
    Object.defineProperty(uart, 'flags', {
      get: () =>
        (uart.rxFIFO.full ? 1 << 6 : 0) |
        (uart.rxFIFO.empty ? 1 << 4 : 0) |
        (sending.length > FIFO_BYTES ? TXFF : 0) |
        (sending.length <= 1 ? TXFE : 0) |
        (sending.length > 0 ? BUSY : 0),
    });
  }

  /** The chip is gone: half a line will never be whole. */
  gone() {
    this.#uart = null;
    this.#gpio = null;
    this.#partial = [];
  }

  /** Types `text` and a newline. @param {string} text */
  say(text) {
    const bytes = [...new TextEncoder().encode(text), NEWLINE];
    const step = byteCycles(this.#uart);
    let cycle = Math.max(this.#machine.cycle, this.#busyUntilCycle);
    for (const byte of bytes) {
      cycle += step;
      this.#machine.at(cycle, () => this.#feed(byte));
    }
    this.#busyUntilCycle = cycle;
  }

  #feed(byte) {
    const uart = this.#uart;
    const hears = uart?.enabled && uart.rxEnabled && !uart.rxFIFO.full;
    if (hears && this.#gpio[1].functionSelect === FUNCTION_UART) uart.feedByte(byte);
    else this.unheardBytes += 1;
  }

  #receive(byte) {
    if (this.#gpio[0].functionSelect !== FUNCTION_UART) return;
    if (this.#partial.length === 0) this.#partialAtUs = this.#nowUs();
    if (byte !== NEWLINE) {
      this.#partial.push(byte);
      return;
    }
    const text = new TextDecoder().decode(Uint8Array.from(this.#partial));
    this.#partial = [];
    const line = { at_us: this.#partialAtUs, text };
    this.lines.push(line);
    this.onLine(line);
  }
}

/** Cycles of a byte at the speed that the image has set; 115,200 baud before it has. */
function byteCycles(uart) {
  const baud = uart?.baudDivider ? uart.baudRate : 115_200;
  return Math.round((CPU_HZ * BITS_PER_BYTE) / baud);
}
