import { readFileSync } from 'node:fs';
import path from 'node:path';
import type { ErrorCode } from '../../src/foundation/errors.ts';
import type { CorruptCode, NotificationFrame } from '../../src/protocol/notification.ts';
import type { AxisMap, Placement } from '../../src/protocol/sensor-description.ts';
import { projectRoot } from '../helpers/project-root.ts';

/** A description in the numbers of the wire. */
export interface WireDescription {
  readonly sensorId: string;
  readonly tickUnitPs: number;
  readonly accelRateMilliHz: number;
  readonly gyroRateMilliHz: number;
  readonly accelScaleNanoG: number;
  readonly gyroScaleNanoDps: number;
  readonly accelRangeMilliG: number;
  readonly gyroRangeMilliDps: number;
  readonly filterDelayUs: number;
  readonly accelAxes: AxisMap;
  readonly gyroAxes: AxisMap;
  readonly placement: Placement;
  readonly firmwareVersion: readonly [number, number, number];
}

interface Vectors {
  readonly checksums: { readonly text: string; readonly crc16: number; readonly crc8: number };
  readonly notifications: readonly (Vector & {
    readonly frame: Omit<NotificationFrame, 'samples'> & { readonly samples: readonly number[] };
  })[];
  readonly malformedNotifications: readonly (Vector & {
    readonly error: CorruptCode;
    readonly sequence: number | null;
  })[];
  readonly descriptions: readonly (Vector & { readonly wire: WireDescription })[];
  readonly malformedDescriptions: readonly (Vector & { readonly error: ErrorCode })[];
}

interface Vector {
  readonly name: string;
  readonly bytes: Uint8Array;
}

/** The vectors that stand beside the format, with their hex turned into bytes. */
export const vectors: Vectors = JSON.parse(
  readFileSync(path.join(projectRoot, 'firmware-protocol', 'vectors.json'), 'utf8'),
  (_, value) => {
    if (typeof value?.hex !== 'string') return value;
    const { hex, ...rest } = value;
    return { ...rest, bytes: new Uint8Array(Buffer.from(hex, 'hex')) };
  },
);
