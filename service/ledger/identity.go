package ledger

import (
	"context"
	"strconv"
)

// Identity tells this ledger from every other one, through all starts of a
// daemon: a random number that it keeps from the first time it is asked for.
func (l *Ledger) Identity(ctx context.Context) (string, error) {
	// random() is the system's randomness; the mask drops the sign
	const draw = `INSERT INTO meta (key, value) VALUES ('identity', random() & 0x7fffffffffffffff) ON CONFLICT DO NOTHING`
	if _, err := l.write.ExecContext(ctx, draw); err != nil {
		return "", l.fault("draw its identity", err)
	}
	var n int64
	if err := l.write.QueryRowContext(ctx, `SELECT value FROM meta WHERE key = 'identity'`).Scan(&n); err != nil {
		return "", l.fault("read its identity", err)
	}
	return strconv.FormatInt(n, 36), nil
}
