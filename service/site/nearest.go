package site

import "strings"

// nearest returns the candidate closest to a word by edit distance, or "" when
// none is close enough to be what was meant: at most a third of the longer
// word, and never more than 4 edits. The first of equals wins, so that the
// order of the table decides.
func nearest(word string, candidates []string) string {
	best, at := "", 5
	folded := fold(word)
	for _, c := range candidates {
		limit := max(len(word), len(c)) / 3
		if d := distance(folded, fold(c)); d <= limit && d < at {
			best, at = c, d
		}
	}
	return best
}

// fold makes spellings alike that people mix: capitals, hyphens, underscores.
func fold(s string) string {
	return strings.ReplaceAll(strings.ToLower(s), "-", "_")
}

// distance is the number of insertions, deletions, substitutions and swaps of
// neighbours that turn a into b (optimal string alignment; Damerau 1964). It
// counts bytes. Words beyond 64 bytes are no keys of ours and get 64.
func distance(a, b string) int {
	const longest = 64
	if len(a) > longest || len(b) > longest {
		return longest
	}
	var before, last, row [longest + 1]int
	for j := range len(b) + 1 {
		last[j] = j
	}
	for i := 1; i <= len(a); i++ {
		row[0] = i
		for j := 1; j <= len(b); j++ {
			cost := 1
			if a[i-1] == b[j-1] {
				cost = 0
			}
			row[j] = min(last[j]+1, row[j-1]+1, last[j-1]+cost)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				row[j] = min(row[j], before[j-2]+1)
			}
		}
		before, last = last, row
	}
	return last[len(b)]
}
