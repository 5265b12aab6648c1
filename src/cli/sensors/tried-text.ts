import { standardGravityMps2 } from '../../foundation/constants.ts';
import type { SensorDescription } from '../../protocol/sensor-description.ts';
import type { SensorCheckReport } from '../../signal/sensor-check.ts';
import type { Vec3 } from '../../signal/vec3.ts';
import { wrapText } from '../table/text-width.ts';

export interface TriedSensor {
  readonly name: string;
  readonly profile: string;
  readonly signalDbm: number;
  readonly packets: number;
  readonly bytes: number;
  /** Why the connection ended before the time, or null. */
  readonly endedEarly: string | null;
  readonly description: SensorDescription;
  readonly report: SensorCheckReport;
}

const degrees = 180 / Math.PI;

/** @returns one JSON object, SI units. */
export function triedJson({ report, description, ...rest }: TriedSensor): string {
  return `${JSON.stringify({ ...rest, description, ...report }, null, 2)}\n`;
}

/** @returns lines for a person. */
export function triedText(tried: TriedSensor, width: number): string {
  const { report, description } = tried;
  const lines = [
    `${tried.name}, profile ${tried.profile}, sensor ${description.sensorId}, ${tried.signalDbm} dBm`,
    row(
      'samples',
      `${report.samples} in ${fixed(report.durationS, 1)} s, ${tried.packets} packets, ${tried.bytes} bytes`,
    ),
    row('rate', rateText(report)),
    row('gaps', gapsText(report)),
    row(
      'accelerometer',
      `${rangeText(report.accelMps2, 1 / standardGravityMps2, 'g')} of ±${fixed(description.accelRangeMps2 / standardGravityMps2, 0)} g`,
    ),
    ...(report.gyroRadps === null || description.gyroRangeRadps === null
      ? [row('gyroscope', 'none')]
      : [
          row(
            'gyroscope',
            `${rangeText(report.gyroRadps, degrees, '°/s')} of ±${fixed(description.gyroRangeRadps * degrees, 0)} °/s`,
          ),
        ]),
    row('clipped', `${fixed(100 * report.clippedShare, 2)} % of the samples`),
    ...restLines(report),
    row('turns', turnsText(report)),
    row('clock', clockText(report)),
    ...(tried.endedEarly === null ? [] : [row('ended early', tried.endedEarly)]),
    '',
  ];
  if (report.findings.length === 0) lines.push('Nothing was found against it.');
  for (const { weight, message } of report.findings) {
    lines.push(...wrapText(`${weight === 'wrong' ? 'WRONG' : 'note'}: ${message}`, width, '  '));
  }
  return `${lines.join('\n')}\n`;
}

function restLines({ rest }: SensorCheckReport): string[] {
  if (rest === null) return [row('at rest', 'it never lay still')];
  const { forceMps2, forceSpreadMps2, accelNoiseMps2, gyroNoiseRadps, gyroBiasRadps } = rest;
  const size = `|a| ${fixed(forceMps2, 3)} m/s² (${fixed(forceMps2 / standardGravityMps2, 4)} g), ±${fixed(forceSpreadMps2, 3)} over ${fixed(rest.durationS, 1)} s`;
  const noise = `${three(accelNoiseMps2, 1, 4)} m/s²${gyroNoiseRadps === null ? '' : `; ${three(gyroNoiseRadps, degrees, 3)} °/s`} a sample`;
  return [
    row('at rest', size),
    row('noise', noise),
    ...(gyroBiasRadps === null ? [] : [row('bias', `${three(gyroBiasRadps, degrees, 2)} °/s`)]),
  ];
}

function rateText({ sampleRateHz, sampleRateStandardErrorHz, nominalRateHz }: SensorCheckReport): string {
  if (sampleRateHz === null) return 'not known: fewer than two packets came';
  const error = sampleRateStandardErrorHz === null ? '' : ` ± ${fixed(sampleRateStandardErrorHz, 3)}`;
  const share = 100 * (sampleRateHz / nominalRateHz - 1);
  return `${fixed(sampleRateHz, 2)}${error} Hz, ${share >= 0 ? '+' : ''}${fixed(share, 2)} % against ${fixed(nominalRateHz, 1)} Hz as stated`;
}

function gapsText({
  gapCount,
  missingSamples,
  longestGapS,
  corruptCount,
  duplicateCount,
  restartCount,
}: SensorCheckReport): string {
  const gaps =
    gapCount === 0 ? 'none' : `${gapCount}, ${missingSamples} samples missing, the longest ${fixed(longestGapS, 3)} s`;
  const others = [
    [corruptCount, 'damaged'],
    [duplicateCount, 'twice'],
    [restartCount, 'new starts'],
  ] as const;
  const told = others.filter(([count]) => count > 0).map(([count, what]) => `${count} ${what}`);
  return [gaps, ...told].join('; ');
}

function turnsText({ turns, gyroRadps }: SensorCheckReport): string {
  if (gyroRadps === null) return 'no gyroscope';
  if (turns === null) return 'not compared: it was not turned about enough, or never still';
  const axes = turns.axes.join(' ');
  return `gravity shows ${fixed(turns.gain, 3)} ± ${fixed(turns.gainStandardError, 3)} times what the gyroscope reads; axes ${axes}`;
}

function clockText({ clockDriftPpm, clockDriftStandardErrorPpm }: SensorCheckReport): string {
  if (clockDriftPpm === null) return 'not known';
  const error = clockDriftStandardErrorPpm === null ? '' : ` ± ${fixed(clockDriftStandardErrorPpm, 0)}`;
  return `${fixed(clockDriftPpm, 0)}${error} ppm against this machine's`;
}

function rangeText({ least, greatest }: { least: Vec3; greatest: Vec3 }, factor: number, unit: string): string {
  const axes = ['x', 'y', 'z'].map(
    (axis, k) => `${axis} ${fixed(least[k]! * factor, 2)}…${fixed(greatest[k]! * factor, 2)}`,
  );
  return `${axes.join(', ')} ${unit}`;
}

function three(values: Vec3, factor: number, digits: number): string {
  return values.map((value) => fixed(value * factor, digits)).join(' ');
}

function row(title: string, text: string): string {
  return `  ${title.padEnd(14)}${text}`;
}

function fixed(value: number, digits: number): string {
  return Number.isFinite(value) ? value.toFixed(digits) : '–';
}
