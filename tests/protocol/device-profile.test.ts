import { readFileSync } from 'node:fs';
import path from 'node:path';
import { Ajv2020 } from 'ajv/dist/2020.js';
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { SeamwiseError } from '../../src/foundation/errors.ts';
import { profileFits } from '../../src/protocol/device-profile.ts';
import { sensorCharacteristics, sensorServiceUuid } from '../../src/protocol/gatt-layout.ts';
import { parseDeviceProfile } from '../../src/protocol/parse-device-profile.ts';
import { describeBoard } from '../../src/protocol/profile-translator.ts';
import { encodeSensorDescription } from '../../src/protocol/sensor-description.ts';
import { profileDocuments, profileFolder, shippedProfile } from '../helpers/shipped-profiles.ts';

const schema = JSON.parse(readFileSync(path.join(profileFolder, 'profile.schema.json'), 'utf8'));
const ajv = new Ajv2020({ strict: true, allowUnionTypes: true, unicodeRegExp: true });
const fitsSchema = ajv.compile(schema);
const documents = profileDocuments();

type Json = null | boolean | number | string | Json[] | { [key: string]: Json };

/** Every place in a document, as a path of keys. */
function placesIn(value: Json, at: readonly (string | number)[] = []): (readonly (string | number)[])[] {
  if (typeof value !== 'object' || value === null) return [at];
  return [at, ...Object.entries(value).flatMap(([key, inner]) => placesIn(inner, [...at, key]))];
}

/** The document with another value at a place; undefined takes it away. */
function changed(document: Json, [key, ...rest]: readonly (string | number)[], value: Json | undefined): Json {
  if (key === undefined) return value ?? null;
  const copy = structuredClone(document) as { [key: string]: Json };
  if (rest.length > 0) copy[key] = changed(copy[key] as Json, rest, value);
  else if (value !== undefined) copy[key] = value;
  else if (Array.isArray(copy)) copy.splice(Number(key), 1);
  else delete copy[key];
  return copy;
}

function failure(document: unknown): SeamwiseError | null {
  try {
    parseDeviceProfile(document);
    return null;
  } catch (error) {
    if (error instanceof SeamwiseError && error.code === 'profile-field') return error;
    throw error;
  }
}

/** Rules that a JSON Schema cannot say, by the words of their refusals. */
const beyondSchema =
  /each of x, y, z once|accel once|gyro once|an accelerometer|only beside the accelerometer|each characteristic once|within the \d+ bytes|a range, which|an end of|a unit, came/;

describe('the example profiles', () => {
  it.each([...documents])('%s fits schema and parser, and its file is named after it', (file, document) => {
    expect(fitsSchema(document), JSON.stringify(fitsSchema.errors)).toBe(true);
    const profile = parseDeviceProfile(document);
    expect(file).toBe(`${profile.id}.json`);
    if (profile.kind === 'board') encodeSensorDescription(describeBoard(profile, '0'.repeat(32)));
  });

  it('are fitted by different advertisements', () => {
    expect(documents.size).toBeGreaterThanOrEqual(7);
    const heads = [...documents.values()].map((document) => JSON.stringify((document as { match: unknown }).match));
    expect(new Set(heads).size).toBe(documents.size);
  });

  it("have this project's own protocol among them", () => {
    const own = shippedProfile('stream-format');
    expect(own.match.serviceUuids).toEqual([sensorServiceUuid]);
    expect(own).toMatchObject({
      kind: 'stream-format',
      description: { characteristic: sensorCharacteristics.description.characteristic },
      stream: { characteristic: sensorCharacteristics.stream.characteristic },
    });
  });
});

describe('parser and schema', () => {
  it('agree about documents with one value changed or taken away', () => {
    const oddValues = fc.oneof(
      fc.constant(undefined),
      fc.constantFrom<Json>(
        null,
        true,
        '',
        'x',
        '-x',
        0,
        -1,
        1,
        2,
        64,
        65,
        511,
        512,
        513,
        1e-10,
        1e300,
        0.5,
        [],
        {},
        'all',
      ),
      fc.constantFrom<Json>('int16', 'float32', 'uint8', 'accel', 'gyro', 'g', 'deg/s', 'mg', 'text', 'binary', '180f'),
      fc.constantFrom<Json>('\u202etxt', '\u0000', 'A'.repeat(81), '00', '0', 'zz', '😀'.repeat(29), '180F', 'board'),
      fc.jsonValue() as fc.Arbitrary<Json>,
    );
    const change = fc.constantFrom(...documents.values()).chain((document) =>
      fc.record({
        document: fc.constant(document as Json),
        place: fc.constantFrom(...placesIn(document as Json)),
        value: oddValues,
      }),
    );
    let beyond = 0;
    let refused = 0;
    fc.assert(
      fc.property(change, ({ document, place, value }) => {
        const other = changed(document, place, value);
        const error = failure(other);
        if (error !== null && beyondSchema.test(error.message)) {
          beyond += 1;
          return;
        }
        if (error !== null) refused += 1;
        expect(error === null, `${JSON.stringify(place)} ← ${JSON.stringify(value)}: ${error?.message}`).toBe(
          fitsSchema(other),
        );
      }),
      { numRuns: 6000 },
    );
    expect(refused).toBeGreaterThan(1000);
    expect(beyond).toBeGreaterThan(20);
  });

  it('agree about anything at all, and nothing else is thrown', () => {
    fc.assert(
      fc.property(fc.anything(), (document) => {
        expect(failure(document) === null).toBe(fitsSchema(document));
      }),
      { numRuns: 2000 },
    );
  });
});

describe('a refusal says place, expectation and finding, and nothing that a terminal would obey', () => {
  const document = documents.get('time-six-float32.json') as Json;
  it.each<[string, (string | number)[], Json | undefined, string]>([
    [
      'a type that is not there',
      ['streams', 0, 'values', 0, 'type'],
      'int12',
      'streams[0].values[0].type: expected one of int8,',
    ],
    [
      'a unit of the other quantity',
      ['streams', 0, 'values', 0, 'unit'],
      'deg/s',
      'values[0].unit: expected one of m/s2, g, mg',
    ],
    ['an axis twice', ['streams', 0, 'values', 0, 'axes'], ['x', 'x', 'z'], 'each of x, y, z once'],
    ['a row that is too short', ['streams', 0, 'rowBytes'], 20, 'three numbers within the 20 bytes of a row, came 24'],
    ['a scale of 0', ['streams', 0, 'values', 0, 'scale'], 0, 'a number from 1e-9 to 1000000, came 0'],
    [
      'no range for float32',
      ['streams', 0, 'values', 0, 'range'],
      undefined,
      'a range, which a number of type float32 does not set',
    ],
    ['a range no sensor has', ['streams', 0, 'values', 0, 'range'], 1e5, 'an end of 0.1 to 1000 g, came "100000 g"'],
    ['no accelerometer', ['streams', 0, 'values'], [], 'a list of 1 to 2'],
    [
      'two accelerometers',
      ['streams', 0, 'values', 1],
      (document as never as { streams: { values: Json[] }[] }).streams[0]!.values[0]!,
      'accel once, came 2',
    ],
    ['no word of whom it fits', ['match'], {}, 'serviceUuids, namePrefixes or both'],
    ['an unknown field', ['colour'], 'red', 'the document: expected only profileVersion'],
    ['a later version', ['profileVersion'], 2, 'profileVersion: expected one of 1, came 2'],
    ['orders to a terminal', ['title'], '\u001b[2Jgone\u202e', 'came "?[2Jgone?"'],
    ['a novel', ['id'], 'x'.repeat(5000), `came "${'x'.repeat(59)}…`],
  ])('%s', (_, place, value, words) => {
    const message = failure(changed(document, place, value))?.message ?? '';
    expect(message).toContain(words);
    expect(message).not.toMatch(/\p{C}/u);
    expect(message.length).toBeLessThan(400);
  });
});

describe('profileFits', () => {
  const both = shippedProfile('six-float32');
  const uuid = both.match.serviceUuids![0]!;
  it('needs both where both are given', () => {
    expect(profileFits(both, 'IMU6 a', [uuid])).toBe(true);
    expect(profileFits(both, 'IMU7', [uuid])).toBe(false);
    expect(profileFits(both, null, [uuid])).toBe(false);
    expect(profileFits(both, 'IMU6', ['180f'])).toBe(false);
  });

  it('never throws, whatever a stranger calls itself', () => {
    fc.assert(
      fc.property(fc.option(fc.string({ unit: 'binary' })), fc.array(fc.string()), (name, uuids) => {
        expect(profileFits(both, name, uuids)).toBe(uuids.includes(uuid) && name?.startsWith('IMU6') === true);
      }),
    );
  });
});
