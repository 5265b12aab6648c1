import { readFileSync } from 'node:fs';
import path from 'node:path';
import { Ajv2020 } from 'ajv/dist/2020.js';
import { projectRoot } from '../helpers/project-root.ts';

const file = path.join(projectRoot, 'src', 'cli', 'analysis.schema.json');

/** The JSON Schema as it stands in the project for others to read. */
export const analysisSchemaFile: object = JSON.parse(readFileSync(file, 'utf8'));

/** Checks a document against it with a validator that is not ours. */
export const validateAnalysis = new Ajv2020({ strict: true, allowUnionTypes: true }).compile(analysisSchemaFile);
