/** Clauses about advertisement, services and description. */
import {
  batteryServiceUuid,
  deviceInformationUuid,
  type GattPlace,
  neutralNamePattern,
  sensorCharacteristics,
  sensorServiceUuid,
  standardCharacteristics,
} from '../gatt-layout.ts';
import { type Clause, failed, type Judgement, notTested, passed, type ReadEvidence } from './clause.ts';

const serialNumber = '2a25';

export const gattClauses: readonly Clause[] = [
  {
    clause: 'advertisement.service',
    where: 'gatt.md, Advertisement',
    says: "the sensor service's UUID stands in the advertisement",
    judge: ({ advertisement: { serviceUuids } }) =>
      serviceUuids.includes(sensorServiceUuid)
        ? passed('it does')
        : failed(`services in the advertisement: ${serviceUuids.join(', ') || 'none'}`),
  },
  {
    clause: 'advertisement.name',
    where: 'gatt.md, Advertisement',
    says: 'the name is IMU- and four hexadecimal digits',
    judge: ({ advertisement: { name } }) => {
      if (name === null) return failed('there is no name');
      return neutralNamePattern.test(name) ? passed(name) : failed('it is another one, which may tell of its owner');
    },
  },
  presence('stream', sensorCharacteristics.stream, 'the stream can notify'),
  presence('description', sensorCharacteristics.description, 'the description can be read'),
  {
    clause: 'gatt.control',
    where: 'gatt.md, Characteristics',
    says: 'control, where it is there, can be read and written with response',
    judge: (seen) =>
      seen.answers === null && find(seen, sensorCharacteristics.control) === undefined
        ? notTested('there is no control, which is allowed')
        : judgePresence(seen, sensorCharacteristics.control),
  },
  {
    clause: 'gatt.once',
    where: 'gatt.md, Characteristics',
    says: 'no characteristic of the sensor service appears twice',
    judge: ({ characteristics }) => {
      const own = characteristics.filter(({ service }) => service === sensorServiceUuid);
      const uuids = own.map(({ characteristic }) => characteristic);
      const twice = uuids.find((uuid, at) => uuids.indexOf(uuid) !== at);
      return twice === undefined ? passed(`${uuids.length} characteristics`) : failed(`${twice} is there twice`);
    },
  },
  {
    clause: 'information.firmware',
    where: 'gatt.md, Characteristics',
    says: 'Device Information states the firmware revision that the description states',
    judge: ({ description, firmwareRevision }) => {
      if (firmwareRevision === null) return failed('it states none');
      if (description === null) return notTested('the description could not be read');
      const { major, minor, patch } = description.firmwareVersion;
      const stated = `${major}.${minor}.${patch}`;
      return firmwareRevision === stated ? passed(stated) : failed(`another one; the description states ${stated}`);
    },
  },
  {
    clause: 'information.no-serial',
    where: 'gatt.md, Characteristics',
    says: 'there is no serial number, which would follow its owner',
    judge: ({ characteristics }) =>
      characteristics.some((each) => each.service === deviceInformationUuid && each.characteristic === serialNumber)
        ? failed('there is one (0x2A25)')
        : passed('there is none'),
  },
  {
    clause: 'battery.percent',
    where: 'gatt.md, Characteristics',
    says: 'the battery level is one byte from 0 to 100',
    judge: (seen) => {
      const { service, characteristic } = standardCharacteristics.batteryPercent;
      const has = seen.characteristics.some(
        (each) => each.service === service && each.characteristic === characteristic,
      );
      if (!has) return notTested(`there is no battery service (0x${batteryServiceUuid.toUpperCase()})`);
      const { battery } = seen;
      if (battery === null) return failed('it cannot be read');
      const good = battery.length === 1 && battery[0]! <= 100;
      return good ? passed(`${battery[0]} %`) : failed(`${battery.length} bytes: ${battery.join(' ')}`);
    },
  },
  {
    clause: 'description.document',
    where: 'README.md, Sensor description',
    says: 'the description is a document of a known version with a right checksum and values within their limits',
    judge: ({ description, descriptionProblem }) =>
      description === null ? failed(descriptionProblem) : passed(`sensor ${description.sensorId}`),
  },
  {
    clause: 'description.same',
    where: 'README.md, Sensor description',
    says: 'the description stays the same while nothing is set, also over a reconnect',
    judge: ({ descriptions, description }) => {
      const read = descriptions.filter((bytes) => bytes !== null);
      if (description === null || read.length < 2) return notTested('it could not be read twice');
      const other = read.findIndex((bytes) => !same(bytes, read[0]!));
      return other < 0
        ? passed(`${read.length} times the same`)
        : failed(`reading ${other + 1} differs from the first`);
    },
  },
];

function presence(name: string, place: GattPlace, says: string): Clause {
  const judge = (seen: ReadEvidence): Judgement => judgePresence(seen, place);
  return { clause: `gatt.${name}`, where: 'gatt.md, Characteristics', says, judge };
}

function find({ characteristics }: ReadEvidence, { service, characteristic }: GattPlace) {
  return characteristics.find((each) => each.service === service && each.characteristic === characteristic);
}

function judgePresence(seen: ReadEvidence, place: GattPlace): Judgement {
  const found = find(seen, place);
  if (found === undefined) return failed(`there is no characteristic ${place.characteristic} in the sensor service`);
  const missing = place.properties.filter((property) => !found.properties.includes(property));
  return missing.length === 0
    ? passed(found.properties.join(', '))
    : failed(`it cannot ${missing.join(' and ')}; it can ${found.properties.join(', ') || 'nothing'}`);
}

function same(one: Uint8Array, other: Uint8Array): boolean {
  return one.length === other.length && one.every((byte, at) => byte === other[at]);
}
