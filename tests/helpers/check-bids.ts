/** What a BIDS motion folder has to fulfil and the stock checker does not look at: columns, numbers, files that belong together. */
import { existsSync, readdirSync, readFileSync } from 'node:fs';
import path from 'node:path';

const types = ['ACCEL', 'ANGACCEL', 'GYRO', 'JNTANG', 'LATENCY', 'MAGN', 'MISC', 'ORNT', 'POS', 'VEL'];
const components = ['x', 'y', 'z', 'quat_x', 'quat_y', 'quat_z', 'quat_w', 'n/a'];
const number = /^[+-]?(\d+\.?\d*|\.\d+)(e[+-]?\d+)?$/i;

/**
 * SOURCE: Brain Imaging Data Structure 1.9.0, "Motion", "Scans file", "Participants file".
 *
 * @returns a sentence for every fault.
 */
export function checkBids(folder: string): string[] {
  const faults: string[] = [];
  const files = readdirSync(folder, { recursive: true, encoding: 'utf8' }).map((name) =>
    name.split(path.sep).join('/'),
  );
  const read = (name: string) => readFileSync(path.join(folder, name), 'utf8');
  const document = (name: string): Record<string, unknown> => {
    try {
      return JSON.parse(read(name)) as Record<string, unknown>;
    } catch {
      faults.push(`${name}: missing, or no JSON`);
      return {};
    }
  };
  const motions = files.filter((name) => name.endsWith('_motion.tsv'));
  if (motions.length === 0) faults.push('no _motion.tsv');
  for (const name of motions) {
    const stem = name.replace(/_motion\.tsv$/, '');
    const named = /(?:^|\/)(sub-[a-z0-9]+)_(ses-[a-z0-9]+)_task-([a-z0-9]+)_tracksys-([a-z0-9]+)$/i.exec(stem);
    if (!named || !name.startsWith(`${named[1]}/${named[2]}/motion/`)) faults.push(`${name}: not where its name says`);
    const about = document(`${stem}_motion.json`);
    if (about.TrackingSystemName !== named?.[4])
      faults.push(`${stem}_motion.json: TrackingSystemName is not that of the name`);
    if (!(Number(about.SamplingFrequency) > 0)) faults.push(`${stem}_motion.json: no SamplingFrequency`);
    if (!files.includes(`${stem}_channels.tsv`)) {
      faults.push(`${stem}_channels.tsv: missing`);
      continue;
    }
    const channels = tableOf(read(`${stem}_channels.tsv`), `${stem}_channels.tsv`, faults);
    for (const column of ['name', 'component', 'type', 'tracked_point', 'units']) {
      if (channels.some((row) => !row[column])) faults.push(`${stem}_channels.tsv: no ${column}`);
    }
    if (new Set(channels.map((row) => row.name)).size !== channels.length)
      faults.push(`${stem}_channels.tsv: a name twice`);
    for (const { type = '', component = '' } of channels) {
      if (!types.includes(type) || !components.includes(component))
        faults.push(`${stem}_channels.tsv: ${type} ${component} is not known`);
    }
    for (const type of types) {
      const told = about[`${type}ChannelCount`];
      const count = channels.filter((row) => row.type === type).length;
      if (told !== undefined && told !== count)
        faults.push(`${stem}_motion.json: ${type}ChannelCount is ${told}, expected ${count}`);
    }
    const rows = read(name).trimEnd().split('\n');
    for (const [at, line] of rows.entries()) {
      const cells = line.split('\t');
      if (cells.length !== channels.length)
        faults.push(`${name}, line ${at + 1}: ${cells.length} columns, expected ${channels.length}`);
      const strange = cells.find((cell) => !number.test(cell) && cell !== about.MissingValues);
      if (strange !== undefined) faults.push(`${name}, line ${at + 1}: "${strange.slice(0, 20)}" is no number`);
      if (faults.length > 50) return faults;
    }
    const latency = channels.findIndex((row) => row.type === 'LATENCY');
    const times = rows.map((line) => Number(line.split('\t')[latency]));
    if (times[0] !== 0 || times.some((time, at) => at > 0 && !(time > (times[at - 1] ?? 0))))
      faults.push(`${name}: latencies do not rise from 0`);
    if (Math.abs(Number(about.RecordingDuration) - (times.at(-1) ?? 0)) > 1e-5)
      faults.push(`${stem}_motion.json: RecordingDuration`);
    checkEvents(`${stem}_events.tsv`);
    const [sub = '', ses = ''] = name.split('/');
    const scansName = `${sub}/${ses}/${sub}_${ses}_scans.tsv`;
    const scans = files.includes(scansName) ? tableOf(read(scansName), scansName, faults) : [];
    const scan = scans.find(({ filename }) => `${sub}/${ses}/${filename}` === name);
    if (!scan || !/^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d{1,6})?$/.test(scan.acq_time ?? ''))
      faults.push(`${scansName}: no time of ${name}`);
  }
  const participants = tableOf(read('participants.tsv'), 'participants.tsv', faults).map((row) => row.participant_id);
  const subjects = readdirSync(folder).filter((name) => name.startsWith('sub-'));
  if (participants.toSorted().join() !== subjects.toSorted().join())
    faults.push('participants.tsv: others than there are folders');
  const { BIDSVersion, Name } = document('dataset_description.json');
  if (!Name || !/^1\.(9|1\d)\.\d+$/.test(String(BIDSVersion)))
    faults.push('dataset_description.json: Name or BIDSVersion');
  for (const name of files.filter((each) => /_(channels|events)\.tsv$/.test(each))) {
    if (!files.includes(name.replace(/_(channels|events)\.tsv$/, '_motion.tsv')))
      faults.push(`${name}: belongs to no motion file`);
  }
  return faults;

  function checkEvents(name: string): void {
    if (!existsSync(path.join(folder, name))) return;
    for (const [at, { onset = '', duration = '', trial_type }] of tableOf(read(name), name, faults).entries()) {
      if (!number.test(onset) || !(number.test(duration) || duration === 'n/a') || !trial_type)
        faults.push(`${name}, row ${at + 1}`);
    }
  }
}

function tableOf(text: string, name: string, faults: string[]): Record<string, string>[] {
  const [head = '', ...rows] = text.trimEnd().split('\n');
  const columns = head.split('\t');
  return rows.map((row, at) => {
    const cells = row.split('\t');
    if (cells.length !== columns.length || cells.some((cell) => cell === ''))
      faults.push(`${name}, line ${at + 2}: a cell too few, too many or empty`);
    return Object.fromEntries(columns.map((column, k) => [column, cells[k] ?? '']));
  });
}
