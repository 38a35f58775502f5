// Types of what the bench uses of preact and htm (preact-htm.js is theirs, unchanged).
export function html(strings: TemplateStringsArray, ...values: unknown[]): any;
export function render(tree: unknown, into: Element): void;
export function useState<T>(first: T | (() => T)): [T, (next: T | ((old: T) => T)) => void];
export function useEffect(run: () => void | (() => void), on?: unknown[]): void;
export function useRef<T>(first: T): { current: T };
export function useMemo<T>(make: () => T, on: unknown[]): T;
