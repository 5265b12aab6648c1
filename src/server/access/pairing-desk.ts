import { timingSafeEqual } from 'node:crypto';
import type { Clock } from '../../foundation/clock.ts';
import type { PairedRole } from './roles.ts';

/** How long a code holds, seconds. */
export const codeLifeS = 120;
/** Codes that may be tried before the pairing ends. */
export const codeTries = 5;
/** How long a device waits for the word of the host, seconds. */
const confirmLifeS = 300;

/** What the host sees of the pairing that it opened. */
export type DeskState =
  | { readonly state: 'closed'; readonly why: 'none' | 'used' | 'expired' | 'tries' | 'cancelled' | 'refused' }
  | {
      readonly state: 'open';
      readonly role: PairedRole;
      readonly code: string;
      readonly endsAtS: number;
      readonly triesLeft: number;
    }
  | { readonly state: 'asked'; readonly role: PairedRole; readonly deviceName: string; readonly endsAtS: number };

/** What a device gets that named a code. */
export type CodeAnswer =
  | { readonly kind: 'paired'; readonly role: PairedRole }
  | { readonly kind: 'wait'; readonly ticket: string }
  | { readonly kind: 'refused'; readonly message: string };

/** What a device gets that waits for the host. */
export type TicketAnswer =
  | { readonly kind: 'wait' }
  | { readonly kind: 'paired'; readonly role: PairedRole; readonly deviceName: string }
  | { readonly kind: 'refused' };

export interface PairingDeskOptions {
  readonly clock: Clock;
  /** @returns six decimal digits, each code as likely as any other. */
  readonly makeCode: () => string;
  /** @returns a word that nobody can guess. */
  readonly makeTicket: () => string;
}

interface Asked {
  readonly ticket: string;
  readonly deviceName: string;
  answer: 'none' | 'yes' | 'no';
}

interface Pairing {
  readonly role: PairedRole;
  readonly code: string;
  endsAtS: number;
  triesLeft: number;
  asked: Asked | null;
}

/**
 * Lets one device at a time in. The host opens a pairing for a role and reads out its code; the device names it. A
 * coach can change everything, so that one is let in only after the host has seen the device's name and agreed.
 *
 * Six digits, two minutes and five tries in all leave a guesser on the network one chance in 200,000.
 */
export class PairingDesk {
  readonly #options: PairingDeskOptions;
  #pairing: Pairing | null = null;
  #why: Extract<DeskState, { state: 'closed' }>['why'] = 'none';

  constructor(options: PairingDeskOptions) {
    this.#options = options;
  }

  /** Opens a pairing in place of any other. */
  open(role: PairedRole): DeskState {
    const endsAtS = this.#options.clock.nowS() + codeLifeS;
    this.#pairing = { role, code: this.#options.makeCode(), endsAtS, triesLeft: codeTries, asked: null };
    return this.state;
  }

  cancel(): void {
    if (this.#current()) this.#close('cancelled');
  }

  get state(): DeskState {
    const pairing = this.#current();
    if (pairing === null) return { state: 'closed', why: this.#why };
    const { role, code, endsAtS, triesLeft, asked } = pairing;
    if (asked !== null) return { state: 'asked', role, deviceName: asked.deviceName, endsAtS };
    return { state: 'open', role, code, endsAtS, triesLeft };
  }

  /** A device names a code. */
  tryCode(code: string, deviceName: string): CodeAnswer {
    const pairing = this.#current();
    if (pairing === null || pairing.asked !== null) {
      return {
        kind: 'refused',
        message: 'no pairing is open: open one on the machine of the service and read its code',
      };
    }
    if (!sameText(code, pairing.code)) {
      pairing.triesLeft -= 1;
      const { triesLeft } = pairing;
      if (triesLeft > 0) return { kind: 'refused', message: `that is not the code; tries left: ${triesLeft}` };
      this.#close('tries');
      return {
        kind: 'refused',
        message: 'that is not the code, and no try is left: open a new pairing on the machine of the service',
      };
    }
    if (pairing.role !== 'coach') {
      this.#close('used');
      return { kind: 'paired', role: pairing.role };
    }
    pairing.asked = { ticket: this.#options.makeTicket(), deviceName, answer: 'none' };
    pairing.endsAtS = this.#options.clock.nowS() + confirmLifeS;
    return { kind: 'wait', ticket: pairing.asked.ticket };
  }

  /** The host's word on the device that waits. @returns false where none does. */
  confirm(agrees: boolean): boolean {
    const asked = this.#current()?.asked;
    if (asked?.answer !== 'none') return false;
    asked.answer = agrees ? 'yes' : 'no';
    return true;
  }

  /** A waiting device asks; it is told once that it is in. */
  askAgain(ticket: string): TicketAnswer {
    const pairing = this.#current();
    const asked = pairing?.asked;
    if (!pairing || !asked || !sameText(ticket, asked.ticket)) return { kind: 'refused' };
    if (asked.answer === 'none') return { kind: 'wait' };
    this.#close(asked.answer === 'yes' ? 'used' : 'refused');
    if (asked.answer === 'no') return { kind: 'refused' };
    return { kind: 'paired', role: pairing.role, deviceName: asked.deviceName };
  }

  #current(): Pairing | null {
    if (this.#pairing !== null && this.#options.clock.nowS() >= this.#pairing.endsAtS) this.#close('expired');
    return this.#pairing;
  }

  #close(why: Extract<DeskState, { state: 'closed' }>['why']): void {
    this.#pairing = null;
    this.#why = why;
  }
}

/** In a time that tells nothing of where two texts differ. */
function sameText(one: string, other: string): boolean {
  const a = Buffer.from(one);
  const b = Buffer.from(other);
  return a.length === b.length && timingSafeEqual(a, b);
}
