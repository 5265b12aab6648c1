import ts from 'typescript';

export interface ModuleImport {
  /** As written, e.g. `./quaternion.ts`, `node:fs`, `rxjs`. */
  readonly from: string;
  readonly typesOnly: boolean;
  /** Imported names; `*` for a namespace, a dynamic import or an export of everything. */
  readonly names: readonly string[];
  readonly line: number;
}

export interface UsedName {
  /** A free identifier (`console`) or one of `Date.now`, `new Date`, `Math.random`, `process.env`. */
  readonly name: string;
  readonly line: number;
}

export interface ModuleFacts {
  readonly imports: readonly ModuleImport[];
  readonly used: readonly UsedName[];
}

/**
 * Reads what a module imports and which names it uses, from its syntax tree: comments and strings do not count.
 *
 * @param fileName decides between TypeScript, TSX and JavaScript
 */
export function readModule(fileName: string, text: string): ModuleFacts {
  const tree = ts.createSourceFile(fileName, text, ts.ScriptTarget.Latest, true);
  const imports: ModuleImport[] = [];
  const used: UsedName[] = [];
  const lineOf = (node: ts.Node) => tree.getLineAndCharacterOfPosition(node.getStart(tree)).line + 1;

  const visit = (node: ts.Node): void => {
    const found = importOf(node);
    if (found !== null) imports.push({ ...found, line: lineOf(node) });
    for (const name of usedNames(node)) used.push({ name, line: lineOf(node) });
    ts.forEachChild(node, visit);
  };
  visit(tree);
  return { imports, used };
}

function importOf(node: ts.Node): Omit<ModuleImport, 'line'> | null {
  if (ts.isImportDeclaration(node) && ts.isStringLiteral(node.moduleSpecifier)) {
    const clause = node.importClause;
    return { from: node.moduleSpecifier.text, ...namesOfImport(clause) };
  }
  if (ts.isExportDeclaration(node) && node.moduleSpecifier && ts.isStringLiteral(node.moduleSpecifier)) {
    const elements = node.exportClause && ts.isNamedExports(node.exportClause) ? node.exportClause.elements : null;
    const names = elements?.map((element) => (element.propertyName ?? element.name).text) ?? ['*'];
    const typesOnly = node.isTypeOnly || (elements?.every((element) => element.isTypeOnly) ?? false);
    return { from: node.moduleSpecifier.text, names, typesOnly };
  }
  if (ts.isImportTypeNode(node) && ts.isLiteralTypeNode(node.argument) && ts.isStringLiteral(node.argument.literal)) {
    return { from: node.argument.literal.text, names: ['*'], typesOnly: true };
  }
  if (ts.isImportEqualsDeclaration(node) && ts.isExternalModuleReference(node.moduleReference)) {
    const { expression } = node.moduleReference;
    return { from: ts.isStringLiteral(expression) ? expression.text : '', names: ['*'], typesOnly: node.isTypeOnly };
  }
  if (ts.isCallExpression(node) && node.expression.kind === ts.SyntaxKind.ImportKeyword) {
    const [argument] = node.arguments;
    // A computed address cannot be checked; the empty name is reported by the checker.
    const from = argument && ts.isStringLiteralLike(argument) ? argument.text : '';
    return { from, names: ['*'], typesOnly: false };
  }
  return null;
}

function namesOfImport(clause: ts.ImportClause | undefined): Pick<ModuleImport, 'names' | 'typesOnly'> {
  if (clause === undefined) return { names: [], typesOnly: false };
  const names = clause.name ? ['default'] : [];
  const bindings = clause.namedBindings;
  if (bindings === undefined || ts.isNamespaceImport(bindings)) {
    return { names: bindings ? [...names, '*'] : names, typesOnly: clause.isTypeOnly };
  }
  for (const element of bindings.elements) names.push((element.propertyName ?? element.name).text);
  const allTypes = clause.name === undefined && bindings.elements.every((element) => element.isTypeOnly);
  return { names, typesOnly: clause.isTypeOnly || (allTypes && bindings.elements.length > 0) };
}

function usedNames(node: ts.Node): string[] {
  if (ts.isIdentifier(node) && isFreeUse(node)) return [node.text];
  if (ts.isNewExpression(node) && ts.isIdentifier(node.expression) && node.expression.text === 'Date') {
    return (node.arguments?.length ?? 0) === 0 ? ['new Date'] : [];
  }
  const member = memberOf(node);
  return member === null ? [] : [member];
}

function memberOf(node: ts.Node): string | null {
  if (ts.isPropertyAccessExpression(node) && ts.isIdentifier(node.expression)) {
    return `${node.expression.text}.${node.name.text}`;
  }
  if (ts.isElementAccessExpression(node) && ts.isIdentifier(node.expression)) {
    const key = node.argumentExpression;
    return ts.isStringLiteralLike(key) ? `${node.expression.text}.${key.text}` : null;
  }
  return null;
}

/** Whether the identifier reads a name in scope, and is not a property, a key, a type or the name of a declaration. */
function isFreeUse(node: ts.Identifier): boolean {
  const parent = node.parent;
  if (ts.isPropertyAccessExpression(parent)) return parent.expression === node;
  if (ts.isQualifiedName(parent) || ts.isTypeReferenceNode(parent) || ts.isTypeQueryNode(parent)) return false;
  if (ts.isPropertyAssignment(parent)) return parent.initializer === node;
  if (ts.isImportSpecifier(parent) || ts.isExportSpecifier(parent) || ts.isImportClause(parent)) return false;
  const named = parent as ts.Node & { readonly name?: ts.Node };
  return !(named.name === node && !ts.isShorthandPropertyAssignment(parent));
}
