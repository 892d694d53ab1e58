// Package references holds the engine's formulas against published and computed
// values, the rows of testdata/references, and writes the pages that say how near
// each came. Only tests import it. Read gives the rows of a file; a Page counts
// what was checked.
package references
