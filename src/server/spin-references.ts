import type { Clock } from '../foundation/clock.ts';
import { newId } from '../sessions/database/new-id.ts';
import type { PlayerRecords } from '../sessions/database/player-records.ts';
import type {
  KeptSpinReference,
  SpinOrigin,
  SpinPlayer,
  WristCalibrationStore,
} from '../sessions/wrist-calibration/wrist-calibration-store.ts';
import type { ArmMount } from '../shots/shot.ts';
import { addSpinReference, type SpinRefusal, spinGain, spinModel } from '../shots/wrist/backspin.ts';
import { type CountRefusal, estimateCountedSpin } from '../shots/wrist/counted-spin.ts';

/** Name of the file of reference shots in the data folder. */
export const spinReferenceFile = 'spin-references.json';

/** A reference shot as a person types it. */
export interface SpinReferenceWords {
  readonly mount: ArmMount;
  readonly snapDegps: number;
  /** By default 3 % of the snap. */
  readonly snapErrorDegps?: number | undefined;
  readonly spin:
    | {
        readonly kind: 'counted';
        readonly revolutions: number;
        readonly frames: number;
        readonly frameRateHz: number;
        readonly countError?: number | undefined;
      }
    | {
        readonly kind: 'ball-sensor';
        readonly spinRps: number;
        readonly spinErrorRps: number;
        readonly sensorId?: string | undefined;
        readonly shotIndex?: number | undefined;
      };
}

export type SpinReferenceAnswer =
  | {
      readonly kind: 'kept';
      readonly reference: KeptSpinReference;
      /** Reference shots of this player at this mount, with the new one. */
      readonly count: number;
      readonly gain: number;
      readonly gainError: number;
    }
  | { readonly kind: 'refused'; readonly reason: SpinRefusal | CountRefusal; readonly evidence: string };

const snapShare = 0.03;
const radians = Math.PI / 180;

/**
 * Who is meant by a name or an id.
 *
 * @returns the player of the club, or the mere name where there is none.
 */
export async function spinPlayer(players: Pick<PlayerRecords, 'list'> | null, word: string): Promise<SpinPlayer> {
  const all = players === null ? [] : await players.list();
  const found = all.find(({ id }) => id === word) ?? all.find(({ pseudonym }) => pseudonym === word);
  return found ? { id: found.id, name: found.pseudonym } : { id: null, name: word };
}

/** Gives reference shots that were kept by name to the club's players, before names change. */
export async function claimSpinReferences(
  store: WristCalibrationStore,
  players: Pick<PlayerRecords, 'list'>,
): Promise<void> {
  await store.claim((await players.list()).map(({ id, pseudonym }) => ({ id, name: pseudonym })));
}

/**
 * Checks a reference shot against the others of its player and keeps it.
 *
 * @throws SeamwiseError of the store.
 */
export async function keepSpinReference(
  store: WristCalibrationStore,
  player: SpinPlayer,
  words: SpinReferenceWords,
  clock: Clock,
): Promise<SpinReferenceAnswer> {
  const { mount, snapDegps, snapErrorDegps = snapShare * snapDegps, spin } = words;
  const counted = spin.kind === 'counted' ? estimateCountedSpin(countOf(spin)) : null;
  if (counted?.kind === 'refused') return counted;
  const [spinRps, spinSdRps] =
    spin.kind === 'ball-sensor' ? [spin.spinRps, spin.spinErrorRps] : [counted!.spinRps, counted!.spinSdRps];
  const nowS = clock.nowS();
  const reference: KeptSpinReference = {
    id: newId(nowS),
    addedS: nowS,
    origin: originOf(spin),
    snapRateRadps: snapDegps * radians,
    snapRateSdRadps: snapErrorDegps * radians,
    spinRps,
    spinSdRps,
    place: mount,
  };
  const outcome = addSpinReference(spinModel(mount, await store.references(player)), reference);
  if (outcome.kind === 'refused') return outcome;
  await store.add(player, reference);
  const { gain, standardError } = spinGain(outcome.model);
  return { kind: 'kept', reference, count: outcome.model.references.length, gain, gainError: standardError };
}

function countOf(spin: Extract<SpinReferenceWords['spin'], { kind: 'counted' }>) {
  const { revolutions, frames, frameRateHz, countError } = spin;
  return { revolutions, frames, frameRateHz, ...(countError !== undefined && { revolutionsSd: countError }) };
}

function originOf(spin: SpinReferenceWords['spin']): SpinOrigin {
  if (spin.kind === 'ball-sensor') {
    return { kind: 'ball-sensor', sensorId: spin.sensorId ?? null, shotIndex: spin.shotIndex ?? null };
  }
  const { revolutions, frames, frameRateHz } = spin;
  return { kind: 'video', revolutions, frames, frameRateHz };
}
