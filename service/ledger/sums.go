package ledger

import (
	"fmt"
	"hash/crc32"
	"strconv"
)

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// sumOf is the CRC-32C of what a row says: the digest of an advice covers what is
// approved, and neither who approved it, nor when, nor which decisions were taken on it.
// Of a standing approval, whose limits no digest covers, sequence is 0 and taken empty.
func sumOf(sequence int64, taken string, body []byte) int64 {
	head := strconv.AppendInt(make([]byte, 0, 128), sequence, 10)
	head = append(append(append(head, ' '), taken...), '\n')
	return int64(crc32.Update(crc32.Checksum(head, castagnoli), castagnoli, body))
}

// asWritten reports a row that does not say what was written; one of before has no sum,
// nil. What a disk has made of the sum may be no number.
func asWritten(what string, sequence int64, taken string, body []byte, sum any) error {
	if got := sumOf(sequence, taken, body); sum != nil && sum != any(got) {
		return unreadable{fmt.Errorf("%s: it is not what was written: its checksum is %d; expected %v", what, got, sum)}
	}
	return nil
}
