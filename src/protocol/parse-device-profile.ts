/**
 * Reads a device profile:
 *
 *     const profile = parseDeviceProfile(JSON.parse(text));   // throws, naming the field
 *
 * Profiles are written by strangers: all is bounded, unknown fields are refused, texts are printable. The JSON Schema beside the
 * examples says the same, but for rules that hold between fields.
 */
import { standardGravityMps2 } from '../foundation/constants.ts';
import {
  type BinaryCounter,
  type BinaryStream,
  type BinaryTriple,
  type DeviceProfile,
  type ProfileCharacteristic,
  type ProfileHead,
  type ProfileMatch,
  type ProfileStream,
  type ProfileTriple,
  profileUnits,
  profileVersion,
  type Quantity,
  quantities,
  type StartUpWrite,
  signedAxes,
  type TextStream,
  type TextTriple,
} from './device-profile.ts';
import { DocumentChecks } from './document-checks.ts';
import { normaliseUuid } from './gatt-layout.ts';
import { maxNotificationBytes } from './notification.ts';
import { type NumberType, numberTypes } from './number-types.ts';
import { descriptionLimits, placements } from './sensor-description.ts';

/** Wire units of the sensor description per SI unit: nano-g, nano-degrees per second. */
const nanoPerSi = { accel: 1e9 / standardGravityMps2, gyro: 1e9 * (180 / Math.PI) } as const;
/** Coarser whole nano-units would bend the scale by more than half a thousandth. */
const leastScaleNano = 1000;

const checks = new DocumentChecks('profile-field', 'device profile');
const longestOffset = 511;
const bit = { min: 0, max: longestOffset, integer: true };
const perUnit = { min: 1e-9, max: 1e6 };

/**
 * @param document as JSON.parse gave it.
 * @throws SeamwiseError `profile-field`, with the place in the document, what was expected and what came.
 */
export function parseDeviceProfile(document: unknown): DeviceProfile {
  const format =
    typeof document === 'object' && document !== null && 'format' in document ? document.format : undefined;
  const kind = checks.oneOf(format, 'format', ['board', 'stream-format'] as const);
  const head = ['profileVersion', 'id', 'title', 'format', 'match'];
  const optional = ['about', 'startUp'];
  if (kind === 'stream-format') {
    const given = checks.object(document, '', [...head, 'description', 'stream'], optional);
    return Object.freeze({
      kind,
      ...parseHead(given),
      description: parseCharacteristic(checks.object(given.description, 'description', place), 'description'),
      stream: parseCharacteristic(checks.object(given.stream, 'stream', place), 'stream'),
    });
  }
  const given = checks.object(
    document,
    '',
    [...head, 'nominalRateHz', 'streams'],
    [...optional, 'filterDelayS', 'placement'],
  );
  const streams = checks.list(given.streams, 'streams', 1, 4, parseStream);
  checkTogether(streams);
  return Object.freeze({
    kind,
    ...parseHead(given),
    nominalRateHz: checks.number(given.nominalRateHz, 'nominalRateHz', { min: 1, max: 10_000 }),
    filterDelayS: checks.number(orDefault(given.filterDelayS, 0), 'filterDelayS', { min: 0, max: 1 }),
    placement: checks.oneOf(orDefault(given.placement, 'unspecified'), 'placement', placements),
    streams,
  });
}

const place = ['service', 'characteristic'] as const;

function parseHead(given: Readonly<Record<string, unknown>>): ProfileHead {
  checks.oneOf(given.profileVersion, 'profileVersion', [profileVersion]);
  if (given.about !== undefined) checks.text(given.about, 'about', 1000);
  return {
    id: checks.text(given.id, 'id', 40, /^[a-z0-9]+(?:-[a-z0-9]+)*$/, '1 to 40 lower-case letters, digits and dashes'),
    title: checks.text(given.title, 'title', 80),
    match: parseMatch(given.match),
    startUp: checks.list(orDefault(given.startUp, []), 'startUp', 0, 16, parseWrite),
  };
}

function parseMatch(value: unknown): ProfileMatch {
  const given = checks.object(value, 'match', [], ['serviceUuids', 'namePrefixes']);
  if (given.serviceUuids === undefined && given.namePrefixes === undefined) {
    checks.reject('match', 'serviceUuids, namePrefixes or both', undefined);
  }
  return Object.freeze({
    serviceUuids:
      given.serviceUuids === undefined ? null : checks.list(given.serviceUuids, 'match.serviceUuids', 1, 8, parseUuid),
    namePrefixes:
      given.namePrefixes === undefined
        ? null
        : checks.list(given.namePrefixes, 'match.namePrefixes', 1, 8, (text, path) => checks.text(text, path, 29)),
  });
}

const uuidPattern = /^(?:[0-9a-fA-F]{4}|[0-9a-fA-F]{8}(?:-[0-9a-fA-F]{4}){3}-[0-9a-fA-F]{12})$/;

function parseUuid(value: unknown, path: string): string {
  const text = checks.text(value, path, 36, uuidPattern, 'a UUID of four hex digits, or of 128 bits with dashes');
  return normaliseUuid(text)!;
}

function parseCharacteristic(given: Readonly<Record<string, unknown>>, path: string): ProfileCharacteristic {
  return Object.freeze({
    service: parseUuid(given.service, `${path}.service`),
    characteristic: parseUuid(given.characteristic, `${path}.characteristic`),
  });
}

function parseWrite(value: unknown, path: string): StartUpWrite {
  const given = checks.object(value, path, [...place, 'hex'], ['withResponse', 'waitMs']);
  const pattern = new RegExp(`^(?:[0-9a-fA-F]{2}){1,${maxNotificationBytes}}$`);
  const hex = checks.text(given.hex, `${path}.hex`, 2 * maxNotificationBytes, pattern, '1 to 244 bytes in hex digits');
  return Object.freeze({
    ...parseCharacteristic(given, path),
    bytes: Uint8Array.from({ length: hex.length / 2 }, (_, at) => Number.parseInt(hex.slice(2 * at, 2 * at + 2), 16)),
    withResponse: checks.boolean(orDefault(given.withResponse, true), `${path}.withResponse`),
    waitS: checks.number(orDefault(given.waitMs, 0), `${path}.waitMs`, { min: 0, max: 5000 }) / 1e3,
  });
}

function parseStream(value: unknown, path: string): ProfileStream {
  const asked = typeof value === 'object' && value !== null && 'mode' in value ? value.mode : undefined;
  const mode = checks.oneOf(asked, `${path}.mode`, ['binary', 'text'] as const);
  return mode === 'binary' ? parseBinary(value, path) : parseText(value, path);
}

function parseBinary(value: unknown, path: string): BinaryStream {
  const given = checks.object(
    value,
    path,
    [...place, 'mode', 'rowBytes', 'values'],
    ['rowOffset', 'rows', 'sequence', 'tick'],
  );
  const rowBytes = checks.number(given.rowBytes, `${path}.rowBytes`, { min: 3, max: 512, integer: true });
  const rows = given.rows === 'all' ? 'all' : checks.number(orDefault(given.rows, 1), `${path}.rows`, oneTo(64));
  const triples = checks.list(given.values, `${path}.values`, 1, 2, (each, at) =>
    parseBinaryTriple(each, at, rowBytes),
  );
  return Object.freeze({
    ...parseCharacteristic(given, path),
    mode: 'binary',
    rowOffset: checks.number(orDefault(given.rowOffset, 0), `${path}.rowOffset`, bit),
    rowBytes,
    rows,
    triples,
    sequence: given.sequence === undefined ? null : parseCounter(given.sequence, `${path}.sequence`, []),
    tick: given.tick === undefined ? null : parseTick(given.tick, `${path}.tick`),
  });
}

const oneTo = (max: number) => ({ min: 1, max, integer: true });

function parseCounter(value: unknown, path: string, more: readonly string[]): BinaryCounter {
  const given = checks.object(value, path, ['type', 'offset', ...more], ['order']);
  const type = checks.oneOf(given.type, `${path}.type`, numberTypes.names);
  if (more.length === 0 && !numberTypes.isUnsigned(type)) checks.reject(`${path}.type`, 'an unsigned type', type);
  return Object.freeze({
    type,
    littleEndian: parseOrder(given.order, path),
    offset: checks.number(given.offset, `${path}.offset`, bit),
  });
}

function parseTick(value: unknown, path: string): BinaryCounter & { readonly unitS: number } {
  const counter = parseCounter(value, path, ['unitS']);
  const { unitS } = value as { readonly unitS: unknown };
  if (!numberTypes.isUnsigned(counter.type) && !numberTypes.isFloat(counter.type)) {
    checks.reject(`${path}.type`, 'an unsigned or a floating-point type', counter.type);
  }
  return Object.freeze({ ...counter, unitS: checks.number(unitS, `${path}.unitS`, { min: 1e-9, max: 1 }) });
}

function parseOrder(value: unknown, path: string): boolean {
  return checks.oneOf(orDefault(value, 'little'), `${path}.order`, ['little', 'big'] as const) === 'little';
}

const tripleKeys = ['quantity', 'axes', 'scale', 'unit'] as const;

/** @param type null for text. */
function parseTriple(given: Readonly<Record<string, unknown>>, path: string, type: NumberType | null): ProfileTriple {
  const quantity = checks.oneOf(given.quantity, `${path}.quantity`, quantities);
  const units: Readonly<Record<string, number>> = profileUnits[quantity];
  const unitSi = units[checks.oneOf(given.unit, `${path}.unit`, Object.keys(units))]!;
  const axes = checks.list(given.axes, `${path}.axes`, 3, 3, (each, at) => checks.oneOf(each, at, signedAxes));
  const letters = axes.map((axis) => axis.at(-1)).sort();
  if (letters.join('') !== 'xyz') checks.reject(`${path}.axes`, 'each of x, y, z once, with or without a minus', axes);
  const scaleSi = checks.number(given.scale, `${path}.scale`, perUnit) * unitSi;
  const passesThrough = type !== null && numberTypes.passesThrough(type);
  const typeEndSi = passesThrough ? scaleSi * numberTypes.greatest(type) : Number.POSITIVE_INFINITY;
  if (given.range === undefined && !passesThrough) {
    checks.reject(
      `${path}.range`,
      `a range, which a number of type ${type ?? 'text'} does not set by itself`,
      undefined,
    );
  }
  const statedSi =
    given.range === undefined ? typeEndSi : checks.number(given.range, `${path}.range`, perUnit) * unitSi;
  const rangeSi = Math.min(statedSi, typeEndSi);
  const nano = nanoPerSi[quantity];
  const scaleNano = Math.round((passesThrough ? scaleSi : rangeSi / maxInt16) * nano);
  checkSize(path, quantity, scaleNano, (rangeSi * nano) / 1e6);
  return {
    quantity,
    axes: axes as unknown as ProfileTriple['axes'],
    scaleSi,
    rangeSi,
    passesThrough,
    outScaleSi: scaleNano / nano,
  };
}

const maxInt16 = 32_767;

function shortNumber(value: number): number {
  return Number(value.toPrecision(6));
}

/** Null is a value, and a wrong one. */
function orDefault(value: unknown, whenMissing: unknown): unknown {
  return value === undefined ? whenMissing : value;
}

/** A sensor description must be able to say it. */
function checkSize(path: string, quantity: Quantity, scaleNano: number, rangeMilli: number): void {
  const unit = quantity === 'accel' ? 'g' : 'deg/s';
  const [least, greatest] =
    quantity === 'accel' ? descriptionLimits.accelRangeMilliG : descriptionLimits.gyroRangeMilliDps;
  if (!(rangeMilli >= least && rangeMilli <= greatest)) {
    checks.reject(
      `${path}.range`,
      `an end of ${least / 1e3} to ${greatest / 1e3} ${unit}`,
      `${shortNumber(rangeMilli / 1e3)} ${unit}`,
    );
  }
  const mostNano = descriptionLimits.scaleNano[1];
  if (!(scaleNano >= leastScaleNano && scaleNano <= mostNano)) {
    const expected = `${leastScaleNano / 1e9} to ${mostNano / 1e9} ${unit} a unit`;
    checks.reject(`${path}.scale`, expected, `${shortNumber(scaleNano / 1e9)} ${unit}`);
  }
}

function parseBinaryTriple(value: unknown, path: string, rowBytes: number): BinaryTriple {
  const given = checks.object(value, path, [...tripleKeys, 'type', 'offset'], ['order', 'step', 'range']);
  const type = checks.oneOf(given.type, `${path}.type`, numberTypes.names);
  const bytes = numberTypes.bytesOf(type);
  const offset = checks.number(given.offset, `${path}.offset`, bit);
  const step = checks.number(orDefault(given.step, bytes), `${path}.step`, oneTo(longestOffset));
  if (offset + 2 * step + bytes > rowBytes) {
    checks.reject(`${path}.offset`, `three numbers within the ${rowBytes} bytes of a row`, offset + 2 * step + bytes);
  }
  return Object.freeze({
    ...parseTriple(given, path, type),
    type,
    littleEndian: parseOrder(given.order, path),
    offset,
    step,
  });
}

function parseText(value: unknown, path: string): TextStream {
  const given = checks.object(value, path, [...place, 'mode', 'values'], ['separator', 'sequence', 'tick']);
  const column = (each: unknown, at: string) => checks.number(each, at, { min: 0, max: 63, integer: true });
  const counter = (each: unknown, at: string, more: readonly string[]) =>
    checks.object(each, at, ['column', ...more]) as { readonly column: unknown; readonly unitS?: unknown };
  const sequence = given.sequence === undefined ? null : counter(given.sequence, `${path}.sequence`, []);
  const tick = given.tick === undefined ? null : counter(given.tick, `${path}.tick`, ['unitS']);
  return Object.freeze({
    ...parseCharacteristic(given, path),
    mode: 'text',
    separator: checks.oneOf(orDefault(given.separator, ','), `${path}.separator`, [',', ';', '\t', ' ']),
    triples: checks.list(given.values, `${path}.values`, 1, 2, (each, at) => {
      const triple = checks.object(each, at, [...tripleKeys, 'columns'], ['range']);
      const columns = checks.list(triple.columns, `${at}.columns`, 3, 3, column);
      return Object.freeze({ ...parseTriple(triple, at, null), columns: columns as unknown as TextTriple['columns'] });
    }),
    sequence: sequence && { column: column(sequence.column, `${path}.sequence.column`) },
    tick: tick && {
      column: column(tick.column, `${path}.tick.column`),
      unitS: checks.number(tick.unitS, `${path}.tick.unitS`, { min: 1e-9, max: 1 }),
    },
  });
}

/** One accelerometer, at most one gyroscope; counters only where the rows are counted. */
function checkTogether(streams: readonly ProfileStream[]): void {
  const found = streams.flatMap((stream, at) => stream.triples.map(({ quantity }) => ({ quantity, at })));
  for (const quantity of quantities) {
    const times = found.filter((each) => each.quantity === quantity).length;
    if (times > 1) checks.reject('streams', `${quantity} once`, times);
  }
  if (!found.some(({ quantity }) => quantity === 'accel')) checks.reject('streams', 'an accelerometer', undefined);
  for (const [at, { triples, sequence, tick }] of streams.entries()) {
    const counted = triples.some(({ quantity }) => quantity === 'accel');
    if (!counted && (sequence !== null || tick !== null)) {
      checks.reject(`streams[${at}]`, 'sequence and tick only beside the accelerometer', 'others');
    }
  }
  const places = streams.map(({ service, characteristic }) => `${service} ${characteristic}`);
  const twice = places.find((each, at) => places.indexOf(each) !== at);
  if (twice !== undefined) checks.reject('streams', 'each characteristic once', twice);
}
