"""Pictures as SVG text: one module each, arrays and records in, a drawing out. They read in grey and without colour."""
