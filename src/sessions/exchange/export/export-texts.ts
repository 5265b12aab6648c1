import type { ExportShift } from './export-names.ts';

/** What stands in a folder of an export, in words. */
export interface ExportContents {
  readonly shotCount: number;
  readonly hasSamples: boolean;
  readonly hasBids: boolean;
  readonly hasRaw: boolean;
  readonly shift: ExportShift['kind'];
}

/** @returns the README of an export. */
export function readmeText({ shotCount, hasSamples, hasBids, hasRaw, shift }: ExportContents): string {
  const moved = {
    one: 'All instants are moved by one shift, into the 1970s: distances in time are true, dates and times of day are not.',
    'per-player':
      'All instants of a player are moved by one shift of that player, into the 1970s: distances in time are true within a player only.',
    none: 'Instants are as they were: dates and times of day are true.',
  }[shift];
  const parts = [
    `shots: one row for each of ${shotCount} shots, with every measure, its standard error, its 90 % interval, and the reason where there is none`,
    'players, sets, marks: who shot, series under one condition, synchronisation marks',
    'targets, blocks, load, study_sets: bands set by hand, drills with the blocks of their proof, shots told by hand, sets of planned studies',
    ...(hasSamples || hasBids || hasRaw
      ? ['sensors: the streams of the sensors, with rate, range, filter delay and clock']
      : []),
    ...(hasSamples
      ? ['samples/: calibrated readings and attitude on one clock, a file for each player, session and sensor']
      : []),
    ...(hasBids ? ['bids/: the same as a dataset of the Brain Imaging Data Structure 1.9.0, Motion'] : []),
    ...(hasRaw ? ['raw/: what the sensors sent, byte for byte, as MCAP recordings that Seamwise imports'] : []),
  ];
  return `Basketball shots measured by inertial sensors, exported by Seamwise.

${parts.map((part) => `- ${part}`).join('\n')}

Tables stand as CSV (UTF-8, commas, first line names) and, row for row the same, as Parquet. dictionary.csv says what each
column is: name, unit, definition, method, valid range. t_s counts seconds since the start of a session in all tables.
An empty cell is a number that the sensor could not know; the column that ends in _reason says why.

The data are pseudonymous, NOT anonymous: names are replaced, and notes, radio addresses, serial numbers and the channels of
other players are left out. ${moved}
But somebody who was there may tell a player by the shots themselves, and ${hasSamples || hasBids || hasRaw ? 'the way a person moves is as good as a fingerprint' : 'age and hand narrow it down'}.
Treat them as personal data, above all where minors shot. Conditions and spots are words that people wrote: read them before
you pass the data on. The key between names, if one was written, must be kept apart from them.

A cell of CSV that a spreadsheet would take for a formula starts with an apostrophe.
`;
}

/** @returns the README of a BIDS dataset. */
export function bidsReadmeText(shift: ExportShift['kind']): string {
  const dates =
    shift === 'none'
      ? 'Dates are true.'
      : 'Dates are moved, to before 1925 as BIDS has it: distances in time are true, dates and times of day are not.';
  return `Basketball shooting practice, recorded by inertial sensors in the ball or on the shooting arm.

A tracking system is one sensor; its file has its own samples on the clock of all sensors of the session. The first channel is
the time since the first sample: steps are uneven where samples are missing. events.tsv tells the instants of the shots that
the program Seamwise found, and at each release what it measured, with errors.

The data are pseudonymous, NOT anonymous: the way a person moves is as good as a fingerprint. Treat them as personal data,
above all where minors shot. ${dates}
`;
}

/** @returns how the program is to be cited. */
export function citationText(version: string): string {
  return `cff-version: 1.2.0
message: If you use these data, say which program measured them.
title: Seamwise
type: software
version: ${version}
license: Apache-2.0
authors:
  - name: The Seamwise developers
`;
}
