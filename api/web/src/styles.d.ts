// esbuild bundles style sheets that a page imports; the type checker only needs to know they exist.
declare module "*.css";
