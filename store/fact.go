package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
)

// Fact is a word that the logbook keeps for the program itself, by its name.
type Fact struct{ Name, Value string }

// Fact reads a fact; empty where there is none.
func (l *Logbook) Fact(ctx context.Context, name string) (string, error) {
	var v string
	err := l.db.QueryRowContext(ctx, `SELECT value FROM facts WHERE name = ?`, name).Scan(&v)
	if err != nil && !errors.Is(err, sql.ErrNoRows) {
		return "", fmt.Errorf("fact %s: %w", name, plain(err))
	}
	return v, nil
}

// SetFact keeps a fact in the place of what it was.
func (l *Logbook) SetFact(ctx context.Context, name, value string) error {
	if err := l.tx(ctx, func(tx *sql.Tx) error { return setFact(ctx, tx, Fact{name, value}) }); err != nil {
		return fmt.Errorf("fact %s: %w", name, err)
	}
	return nil
}

func setFact(ctx context.Context, tx *sql.Tx, f Fact) error {
	_, err := tx.ExecContext(ctx, `INSERT INTO facts (name, value) VALUES (?1, ?2) ON CONFLICT (name) DO UPDATE SET value = ?2`, f.Name, f.Value)
	return err
}
