package journal

import (
	"context"
	"errors"
	"fmt"
)

// Retained returns the retained messages that the built-in broker stores here, by topic. They
// are not records; the state does not depend on them.
func (j *Journal) Retained(ctx context.Context) (map[string][]byte, error) {
	rows, err := j.db().QueryContext(ctx, `SELECT topic, payload FROM retained`)
	if err != nil {
		return nil, fmt.Errorf("journal: read retained messages: %w", err)
	}
	held := map[string][]byte{}
	for rows.Next() {
		var topic string
		var payload []byte
		if err := rows.Scan(&topic, &payload); err != nil {
			return nil, errors.Join(fmt.Errorf("journal: read retained message: %w", err), rows.Close())
		}
		held[topic] = payload
	}
	if err := errors.Join(rows.Err(), rows.Close()); err != nil {
		return nil, fmt.Errorf("journal: read retained messages: %w", err)
	}
	return held, nil
}

// KeepRetained stores messages by topic, all of them or none. An empty message removes the
// stored one.
func (j *Journal) KeepRetained(ctx context.Context, messages map[string][]byte) error {
	write, err := j.writer()
	if err != nil {
		return err
	}
	tx, err := write.BeginTx(ctx, nil)
	if err != nil {
		return fmt.Errorf("journal: write retained messages: %w", err)
	}
	defer tx.Rollback() // after a commit it does nothing
	for topic, payload := range messages {
		if len(payload) == 0 {
			_, err = tx.ExecContext(ctx, `DELETE FROM retained WHERE topic = ?`, topic)
		} else {
			_, err = tx.ExecContext(ctx, `
				INSERT INTO retained (topic, payload) VALUES (?, ?) ON CONFLICT (topic) DO UPDATE SET payload = excluded.payload`, topic, payload)
		}
		if err != nil {
			return fmt.Errorf("journal: write retained message: %w", err)
		}
	}
	if err := tx.Commit(); err != nil {
		return fmt.Errorf("journal: write retained messages: %w", err)
	}
	return nil
}
