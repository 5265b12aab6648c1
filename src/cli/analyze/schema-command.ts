import type { Command } from 'commander';
import type { Surroundings } from '../surroundings.ts';
import { analysisSchema } from './analysis-schema.ts';

/** Adds `schema` to the program. */
export function addSchemaCommand(program: Command, surroundings: Surroundings): void {
  program
    .command('schema')
    .description('print the JSON Schema (draft 2020-12) of what "analyze --json" prints')
    .action(() => {
      surroundings.stdout.write(`${JSON.stringify(analysisSchema, null, 2)}\n`);
    });
}
