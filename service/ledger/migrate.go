package ledger

import (
	"context"
	_ "embed" // the schemas
	"fmt"
)

//go:embed schema.sql
var schema string

//go:embed version2.sql
var version2 string

//go:embed version3.sql
var version3 string

// applicationID marks a SQLite file as a ledger: "rhiz" in ASCII.
const applicationID = 0x7268697a

// migrations bring a ledger from the version of their index to the next. Old
// ones are never edited.
var migrations = [...]string{schema, version2, version3}

// migrate brings the file to the newest version, in one transaction.
func (l *Ledger) migrate(ctx context.Context) error {
	var version int
	if err := l.write.QueryRowContext(ctx, `PRAGMA user_version`).Scan(&version); err != nil {
		return l.fault("open", err)
	}
	if version == len(migrations) {
		return nil
	}
	tx, err := l.write.BeginTx(ctx, nil)
	if err != nil {
		return l.fault("begin version", err)
	}
	steps := append([]string{fmt.Sprintf(`PRAGMA application_id = %d`, applicationID)}, migrations[version:]...)
	steps = append(steps, fmt.Sprintf(`PRAGMA user_version = %d`, len(migrations)))
	for _, step := range steps {
		if _, err := tx.ExecContext(ctx, step); err != nil {
			return closing(l.fault(fmt.Sprintf("bring to version %d", len(migrations)), err), tx.Rollback)
		}
	}
	if err := tx.Commit(); err != nil {
		return l.fault(fmt.Sprintf("bring to version %d", len(migrations)), err)
	}
	return nil
}
