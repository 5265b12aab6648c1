import { readFileSync } from 'node:fs';
import path from 'node:path';
import { describe, expect, it } from 'vitest';
import { filesUnder } from '../../src/cli/setup/stamp.mjs';
import { projectRoot } from '../helpers/project-root.ts';
import { checkLayers } from './check-layers.ts';
import { layers } from './layer-table.ts';

function modulesOfSrc(): Map<string, string> {
  const files = filesUnder(projectRoot, 'src').filter((file) => /\.(ts|tsx|mts|mjs|js)$/.test(file));
  return new Map(
    files
      .filter((file) => !file.endsWith('.config.ts'))
      .map((file) => [file.slice('src/'.length), readFileSync(path.join(projectRoot, file), 'utf8')]),
  );
}

describe('the layers of src', () => {
  it('hold for every module', () => {
    const report = checkLayers(modulesOfSrc());
    expect(report.breaches).toEqual([]);
  });

  it('were read from real imports', () => {
    const report = checkLayers(modulesOfSrc());
    expect(report.moduleCount).toBeGreaterThan(10);
    expect(report.edgeCount).toBeGreaterThan(10);
  });
});

describe('the layer table', () => {
  it('lets a folder import only from rows above its own', () => {
    for (const [row, { folder, mayImport }] of layers.entries()) {
      const above = layers.slice(0, row).map((layer) => layer.folder);
      for (const entry of mayImport) expect(above, folder).toContain(entry.replace(/:types$/, '').split('/')[0]);
    }
  });
});

/** A made-up tree that keeps every rule; each case below breaks one of them. */
const clean: Readonly<Record<string, string>> = {
  'foundation/units.ts': 'export const half = 0.5;\nexport type Metres = number;\n',
  'protocol/frame.ts': "import { half } from '../foundation/units.ts';\nexport const frame = half;\n",
  'signal/filter.ts':
    "import { half } from '../foundation/units.ts';\nimport { Matrix } from 'ml-matrix';\nexport const filter = [half, Matrix];\n",
  'flight/fit.ts': "import { filter } from '../signal/filter.ts';\nexport const fit = filter;\n",
  'shots/shot.ts':
    "import { fit } from '../flight/fit.ts';\nexport interface Shot { process: number }\nexport const shot = { console: fit };\n",
  'live/chain.ts':
    "import { shot } from '../shots/shot.ts';\nimport { map, Subject } from 'rxjs';\nexport const chain = [shot, map, Subject];\n",
  'simulate/shooter.ts':
    "import { frame } from '../protocol/frame.ts';\n// Math.random and console.log in a comment are only words\nexport const shooter = [frame, 'process.env'];\n",
  'devices/radio.ts':
    "import { shooter } from '../simulate/shooter.ts';\nimport { EventEmitter } from 'node:events';\nexport const radio = [shooter, EventEmitter, Date.now()];\n",
  'sessions/store.ts': "import type { Shot } from '../shots/shot.ts';\nexport type Stored = Shot;\n",
  'server/wire/message.ts': "import type { Shot } from '../../shots/shot.ts';\nexport type Message = Shot;\n",
  'server/app.ts':
    "import { chain } from '../live/chain.ts';\nimport fastify from 'fastify';\nexport const app = [chain, fastify];\n",
  'dashboard/page.tsx':
    "import type { Message } from '../server/wire/message.ts';\nimport { half } from '../foundation/units.ts';\nexport const page = (message: Message) => [message, half];\n",
  'cli/config.ts': 'export const port = process.env.PORT;\n',
  'cli/main.ts':
    "import { app } from '../server/app.ts';\nimport { port } from './config.ts';\nconst later = await import('../devices/radio.ts');\nconsole.log(app, port, later, process.argv);\n",
};

/** File, text to put before its own, and what the report must say. */
const broken: readonly (readonly [string, string, string])[] = [
  ['foundation/units.ts', "import { frame } from '../protocol/frame.ts';", 'foundation may not import protocol'],
  ['signal/filter.ts', "import { fit } from '../flight/fit.ts';", 'signal may not import flight'],
  ['signal/filter.ts', "export * from '../flight/fit.ts';", 'signal may not import flight'],
  ['signal/filter.ts', "const late = import('../flight/fit.ts');", 'signal may not import flight'],
  ['signal/filter.ts', "type Late = import('../flight/fit.ts').Fit;", 'signal may not import flight'],
  ['protocol/frame.ts', "import '../signal/filter.ts';", 'protocol may not import signal'],
  ['simulate/shooter.ts', "import { fit } from '../flight/fit.ts';", 'simulate and flight share no code'],
  ['simulate/shooter.ts', "import type { Shot } from '../shots/shot.ts';", 'simulate and shots share no code'],
  ['flight/fit.ts', "import { shooter } from '../simulate/shooter.ts';", 'flight and simulate share no code'],
  ['live/chain.ts', "import { shooter } from '../simulate/shooter.ts';", 'live and simulate share no code'],
  ['sessions/store.ts', "import { shot } from '../shots/shot.ts';", 'sessions may import only types from shots'],
  ['sessions/store.ts', "import { type Shot as S, shot } from '../shots/shot.ts';", 'may import only types from shots'],
  ['dashboard/page.tsx', "import { app } from '../server/app.ts';", 'dashboard may not import server'],
  ['dashboard/page.tsx', "import { Message as M } from '../server/wire/message.ts';", 'only types from server'],
  ['shots/shot.ts', "import { readFileSync } from 'node:fs';", 'may not import node:fs'],
  ['shots/shot.ts', "import { readFileSync } from 'fs';", 'may not use the package fs'],
  ['shots/shot.ts', "import fastify from 'fastify';", 'may not use the package fastify'],
  ['shots/shot.ts', "const name = './a.ts'; import(name);", 'a computed address'],
  ['live/chain.ts', "import { debounceTime } from 'rxjs';", 'may not take "debounceTime" from rxjs'],
  ['live/chain.ts', "import { delay as later } from 'rxjs/operators';", 'may not take "delay" from rxjs'],
  ['live/chain.ts', "import * as rx from 'rxjs';", 'may not take "*" from rxjs'],
  ['flight/fit.ts', 'const now = Date.now();', 'may not use Date.now'],
  ['flight/fit.ts', "const now = Date['now']();", 'may not use Date.now'],
  ['flight/fit.ts', 'const now = new Date();', 'may not use new Date'],
  ['flight/fit.ts', 'const now = performance.now();', 'may not use performance'],
  ['simulate/shooter.ts', 'const chance = Math.random();', 'may not use Math.random'],
  ['simulate/shooter.ts', "console.log('x');", 'may not use console'],
  ['simulate/shooter.ts', 'const home = process.cwd();', 'may not use process'],
  ['simulate/shooter.ts', 'const both = { process };', 'may not use process'],
  ['server/app.ts', 'const port = process.env.PORT;', 'reads the environment'],
  ['cli/main.ts', "import x from '../../tests/x.ts';", 'outside src/'],
  ['extras/new.ts', 'export {};', 'lies in no folder of the layer table'],
];

describe('the layer check on made-up trees', () => {
  it('passes a tree that keeps the rules', () => {
    const report = checkLayers(new Map(Object.entries(clean)));
    expect(report.breaches).toEqual([]);
    expect(report.edgeCount).toBe(15);
  });

  it.each(broken)('finds in %s: %s', (file, text, expected) => {
    const tree = new Map(Object.entries({ ...clean, [file]: `${text}\n${clean[file] ?? ''}` }));
    const { breaches } = checkLayers(tree);
    expect(breaches).toHaveLength(1);
    expect(breaches[0]).toContain(`${file}:1: `);
    expect(breaches[0]).toContain(expected);
  });

  it('fails when there was nothing to read', () => {
    expect(() => checkLayers(new Map())).toThrow('read no modules');
  });
});
