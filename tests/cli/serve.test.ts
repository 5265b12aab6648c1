import { writeFileSync } from 'node:fs';
import { createServer } from 'node:http';
import { get } from 'node:https';
import type { AddressInfo } from 'node:net';
import path from 'node:path';
import { describe, expect, it } from 'vitest';
import { tempFolder } from '../helpers/temp-folder.ts';
import { selfSigned } from '../server/access/self-signed.ts';
import { runCli } from './run-cli.ts';

const folder = tempFolder();
const config = { port: 0, dataFolder: path.join(folder, 'data'), pageFolder: folder };
writeFileSync(path.join(folder, 'index.html'), '<!doctype html><title>page</title>');

describe('serve', () => {
  it('says where the page is, serves it and ends when asked', async () => {
    let answer = '';
    const { code, stdout, stderr } = await runCli(['serve', '--seed', '4'], {
      readConfig: () => config,
      untilEndIsAsked: async (said) => {
        const url = /http:\/\/\S+/.exec(said)?.[0] ?? '';
        answer = await (await fetch(url)).text();
      },
    });
    expect({ code, stderr }).toEqual({ code: 0, stderr: '' });
    expect(stdout).toMatch(/^Seamwise: http:\/\/127\.0\.0\.1:\d+\/\n/);
    // A machine with an adapter and a sensor within reach would say otherwise.
    expect(stdout).toMatch(/The shooter is simulated\.|A sensor is in the air/);
    expect(answer).toContain('<title>page</title>');
  });

  it('plays the simulated shooter without looking for a sensor when told to', async () => {
    const words = ['serve', '--source', 'simulated'];
    const { code, stdout } = await runCli(words, {
      readConfig: () => ({ ...config, dataFolder: path.join(folder, 'd2') }),
    });
    expect(code).toBe(0);
    expect(stdout).toContain('\nThe shooter is simulated. Ctrl-C');
  });

  it('plays a shooter with both sensors when told to', async () => {
    let sensors: { sensorId: string }[] = [];
    const { code, stdout } = await runCli(['serve', '--simulate', 'both'], {
      readConfig: () => ({ ...config, dataFolder: path.join(folder, 'd3') }),
      untilEndIsAsked: async (said) => {
        const health = new URL('/api/health', /http:\/\/\S+/.exec(said)?.[0]);
        while (sensors.length < 2) ({ sensors } = (await (await fetch(health)).json()) as { sensors: typeof sensors });
      },
    });
    expect(code).toBe(0);
    expect(stdout).toContain('a sensor in the ball and one on the arm');
  });

  it('says where devices of the network find it when they may', async () => {
    const { code, stdout } = await runCli(['serve', '--source', 'simulated', '--lan'], {
      readConfig: () => ({ ...config, dataFolder: path.join(folder, 'd4') }),
    });
    expect(code).toBe(0);
    expect(stdout).toMatch(/\n(Other devices: http:\/\/\S+:\d+\/, after they were paired|No network was found)/);
  });

  it('serves by https with a certificate of its own', async () => {
    const { cert, key } = selfSigned();
    const [certFile, keyFile] = [path.join(folder, 'cert.pem'), path.join(folder, 'key.pem')];
    writeFileSync(certFile, cert);
    writeFileSync(keyFile, key);
    let status = 0;
    const words = ['serve', '--source', 'simulated', '--tls-cert', certFile, '--tls-key', keyFile];
    const { code } = await runCli(words, {
      readConfig: () => ({ ...config, dataFolder: path.join(folder, 'd5') }),
      untilEndIsAsked: async (said) => {
        const url = new URL('/api/health', /https:\/\/\S+/.exec(said)?.[0]);
        status = await new Promise((resolve, reject) => {
          get(url, { ca: cert, checkServerIdentity: () => undefined }, (response) => {
            response.resume();
            resolve(response.statusCode ?? 0);
          }).on('error', reject);
        });
      },
    });
    expect({ code, status }).toEqual({ code: 0, status: 200 });
    const half = await runCli(['serve', '--tls-cert', certFile], { readConfig: () => config });
    expect(half.code).toBe(2);
    expect(half.stderr).toContain('--tls-cert and --tls-key belong together');
  });

  it('ends with 1 and a sentence where its port is taken', async () => {
    const taken = createServer().listen(0, '127.0.0.1');
    await new Promise((resolve) => taken.once('listening', resolve));
    const { port } = taken.address() as AddressInfo;
    try {
      const { code, stdout, stderr } = await runCli(['serve', '--port', String(port)], { readConfig: () => config });
      expect({ code, stdout }).toEqual({ code: 1, stdout: '' });
      expect(stderr).toContain(String(port));
      expect(stderr).not.toContain('    at ');
    } finally {
      taken.close();
    }
  });

  it('ends with 1 and a sentence where its data folder is a file', async () => {
    const dataFolder = path.join(folder, 'index.html');
    const { code, stderr } = await runCli(['serve'], { readConfig: () => ({ ...config, dataFolder }) });
    expect(code).toBe(1);
    expect(stderr).toContain('index.html');
    expect(stderr).not.toContain('    at ');
  });

  it.each([
    ['a port that is none', ['--port', '70000'], ["argument '70000'", '0 to 65535']],
    ['a sensor id that is none', ['--sensor', 'ball'], ['32 hex digits']],
    ['a source that is none', ['--source', 'radio'], ['auto, bluetooth, browser, simulated']],
    ['a simulation beside a real source', ['--simulate', 'both', '--source', 'bluetooth'], ['--source simulated']],
    ['a simulation that there is not', ['--simulate', 'wrist'], ['ball, both']],
    ['an unknown option', ['--host', '0.0.0.0'], ['--host']],
  ])('ends with 2 at wrong usage: %s', async (_, words, parts) => {
    const { code, stderr } = await runCli(['serve', ...words], { readConfig: () => config });
    expect(code).toBe(2);
    for (const part of parts) expect(stderr).toContain(part);
  });
});
