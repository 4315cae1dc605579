/**
 * One life of the chip, from a reset to the next: rp2040js with its traps closed.
 *
 * What is corrected, and why:
 * - WFI with PRIMASK set: a pending interrupt wakes the core, but its handler runs only
 *   when the mask is cleared (ARMv6-M, WFI). The stock core runs it at once.
 * - SysTick wakes WFI too.
 * - An interrupt that software has set pending is cleared by its entry (ARMv6-M, NVIC);
 *   the stock core would enter it for ever.
 * - A pin that is driven to the level it has makes no edge. The stock pin counts one.
 * - A timer alarm fires when the counter reaches its value, not up to 1 µs earlier; one
 *   that is set to the present µs waits for the counter to come round (pessimistic: what
 *   the silicon does in that µs is not documented).
 * - UDF, BKPT, an access outside the memory map and an unaligned load are a hard fault; one
 *   inside the hard-fault handler locks the core up. The stock core logs and goes on.
 * - Entry and return of an exception take time: 15 cycles in (ARM Cortex-M0+, with memory
 *   that never waits; from memory), 10 out (assumption). The stock core takes none.
 *
 * Not modelled: see README.md.
 */

import { RP2040 } from 'rp2040js';
import { NS_PER_CYCLE } from './time.mjs';

/** First address of the flash. */
export const FLASH_START = 0x10000000;
/** Where the image's vector table is, behind the second-stage boot loader. */
export const VECTORS = 0x10000100;
/** First address of the RAM. */
export const RAM_START = 0x20000000;
/** Number of the hard-fault exception (ARMv6-M). */
export const HARD_FAULT = 3;
/** Number of SysTick's exception (ARMv6-M). */
export const SYS_TICK = 15;
/** Interrupt n is exception n + 16 (ARMv6-M). */
export const FIRST_IRQ_EXCEPTION = 16;

/** Where the boot ROM leaves the stack: the end of the RAM (from memory). */
const BOOT_STACK = 0x20042000;
const ENTRY_CYCLES = 15;
const RETURN_CYCLES = 10;
const PSM_BASE = 0x40010;
const TIMER_BASE = 0x40054;
const WATCHDOG_BASE = 0x40058;
/** PSM WDSEL: processor 0 is reset by the watchdog (RP2040 datasheet, PSM). */
const WDSEL_PROC0 = 1 << 15;
const ALARM_FIRST = 0x10;
const ALARM_LAST = 0x1c;
const AIRCR = 0xd0c;

/**
 * @typedef {object} Watch Who is told what the core does; every member may do nothing.
 * @property {(irq: number) => void} raised An interrupt line became active.
 * @property {(irq: number) => void} lowered It is no longer.
 * @property {(exception: number) => void} entered Before an exception is entered.
 * @property {(exception: number) => void} left After an exception has returned.
 */

/** A chip that has just been reset. */
export class Chip {
  /** The emulator underneath. */
  rp = new RP2040();
  /** A hard fault is to be entered. */
  isFaulting = false;
  /** The core stands still for good. */
  isLockedUp = false;
  /** Asked for by the watchdog. @type {'watchdog-timer'|'watchdog-force'|null} */
  resetAsked = null;

  /** Interrupt lines that are active, a bit each. */
  lines = 0;

  /**
   * @param {object} options
   * @param {Uint8Array} options.flash What the flash holds.
   * @param {Uint8Array} options.ram What the RAM holds, 264 KiB; kept, not copied.
   * @param {'boot2'|'vectors'} options.start Where the core starts: in the second-stage
   *   boot loader at 0x10000000, or at the vector table behind it.
   * @param {Watch} options.watch
   * @param {Map<string, number>} options.complaints Where the emulator's complaints are
   *   counted.
   */
  constructor({ flash, ram, start, watch, complaints }) {
    const { rp } = this;
    this.watch = watch;
    rp.logger = this.#logger(complaints);
    rp.flash.set(flash);
    rp.sram = ram;
    rp.sramView = new DataView(ram.buffer, ram.byteOffset, ram.byteLength);
    rp.onBreak = () => {
      this.isFaulting = true;
    };
    this.#hastenRam();
    this.#guardSleep();
    this.#guardExceptions();
    this.#guardPins();
    this.#guardTimer();
    this.#guardResets();
    this.core = rp.core;
    this.clock = rp.clock;
    this.watchdog = rp.peripherals[WATCHDOG_BASE];
    rp.core.LR = 0;
    rp.core.cycles = 0;
    if (start === 'vectors') {
      rp.core.VTOR = VECTORS;
      rp.core.SP = rp.readUint32(VECTORS);
      rp.core.PC = rp.readUint32(VECTORS + 4) & ~1;
    } else {
      rp.core.SP = BOOT_STACK;
      rp.core.PC = FLASH_START;
    }
  }

  /** @returns {boolean} Whether something is pending that ends a WFI. */
  get hasWakeUp() {
    const { core } = this;
    return (
      (core.pendingInterrupts & core.enabledInterrupts) !== 0 ||
      core.pendingSystick ||
      core.pendingPendSV ||
      core.pendingNMI
    );
  }

  /** Lets the clock follow the core's cycles: alarms fire. */
  keepTime() {
    const { clock, core } = this;
    const now = core.cycles * NS_PER_CYCLE;
    const alarm = clock.nextAlarm;
    if (alarm !== null && alarm.nanos <= now) {
      clock.tick(now - clock.nanosCounter);
    } else {
      clock.nanosCounter = now;
    }
  }

  /** Enters the hard-fault handler for the instruction that has just run. */
  enterHardFault() {
    const { core } = this;
    this.isFaulting = false;
    if (core.IPSR === HARD_FAULT) {
      this.isLockedUp = true;
      return;
    }
    core.waiting = false;
    core.PC -= 2;
    core.exceptionEntry(HARD_FAULT);
  }

  /** Sets `irq` pending, as software would; its entry clears it. */
  pend(irq) {
    const { core } = this.rp;
    core.pendingInterrupts |= 1 << irq;
    core.interruptsUpdated = true;
  }

  /** The stock chip looks for a peripheral at every write to RAM: the same answer, sooner. */
  #hastenRam() {
    const { rp } = this;
    const find = rp.findPeripheral.bind(rp);
    rp.findPeripheral = (address) => (address >>> 28 === 2 ? undefined : find(address));
  }

  #logger(complaints) {
    const bad = (component, message) => {
      const text = `${component}: ${message}`;
      complaints.set(text, (complaints.get(text) ?? 0) + 1);
      if (/invalid memory|undefined address|not 32 bit aligned|not implemented/.test(message)) {
        this.isFaulting = true;
      }
    };
    return { debug() {}, info() {}, warn: bad, error: bad };
  }

  #guardSleep() {
    const { core } = this.rp;
    const stock = core.checkForInterrupts.bind(core);
    core.checkForInterrupts = () => {
      if (!core.waiting) return stock();
      if (this.hasWakeUp) {
        core.waiting = false;
        core.interruptsUpdated = true;
      }
      return false;
    };
  }

  #guardExceptions() {
    const { core } = this.rp;
    const raise = core.setInterrupt.bind(core);
    core.setInterrupt = (irq, isActive) => {
      const bit = 1 << irq;
      if (isActive && !(core.pendingInterrupts & bit)) this.watch.raised(irq);
      if (!isActive && this.lines & bit) this.watch.lowered(irq);
      this.lines = isActive ? this.lines | bit : this.lines & ~bit;
      raise(irq, isActive);
    };
    const enter = core.exceptionEntry.bind(core);
    core.exceptionEntry = (exception) => {
      this.watch.entered(exception);
      const irq = exception - FIRST_IRQ_EXCEPTION;
      if (irq >= 0 && !(this.lines & (1 << irq))) core.pendingInterrupts &= ~(1 << irq);
      core.cycles += ENTRY_CYCLES;
      enter(exception);
    };
    const leave = core.exceptionReturn.bind(core);
    core.exceptionReturn = (value) => {
      const exception = core.IPSR;
      core.cycles += RETURN_CYCLES;
      leave(value);
      this.watch.left(exception);
    };
  }

  #guardPins() {
    for (const pin of this.rp.gpio) {
      const drive = pin.setInputValue.bind(pin);
      pin.hasSeenHigh = false;
      pin.setInputValue = (isHigh) => {
        const arrives = isHigh && pin.inputEnable;
        if (arrives === pin.hasSeenHigh) {
          pin.rawInputValue = isHigh;
        } else {
          pin.hasSeenHigh = arrives;
          drive(isHigh);
        }
      };
    }
  }

  #guardTimer() {
    const { rp } = this;
    const timer = rp.peripherals[TIMER_BASE];
    const write = timer.writeUint32.bind(timer);
    timer.writeUint32 = (offset, value) => {
      write(offset, value);
      if (offset >= ALARM_FIRST && offset <= ALARM_LAST) {
        const now = rp.clock.nanos;
        const micros = Math.floor(now / 1000);
        const wait = (value - micros) >>> 0 || 2 ** 32;
        timer.alarms[(offset - ALARM_FIRST) / 4].clockAlarm.schedule((micros + wait) * 1000 - now);
      }
    };
  }

  #guardResets() {
    const { rp } = this;
    const watchdog = rp.peripherals[WATCHDOG_BASE];
    watchdog.onWatchdogTrigger = () => {
      const isTimer = (watchdog.reason & 1) !== 0;
      watchdog.alarm.enable = false;
      if (rp.peripherals[PSM_BASE].wdsel & WDSEL_PROC0) {
        this.resetAsked = isTimer ? 'watchdog-timer' : 'watchdog-force';
      } else {
        rp.logger.warn('watchdog', 'fired, but PSM WDSEL does not name the processor');
      }
    };
    const write = rp.ppb.writeUint32.bind(rp.ppb);
    rp.ppb.writeUint32 = (offset, value) => {
      if (offset === AIRCR) {
        throw new Error('the image asked for SYSRESETREQ, which is not modelled');
      }
      write(offset, value);
    };
  }
}
