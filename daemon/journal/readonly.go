package journal

import (
	"errors"
	"log/slog"
	"time"
)

func isReadOnly(err error) bool { return false }

func openReadOnly(dir string, log *slog.Logger, observe func(time.Duration), why error) (*Journal, error) {
	return nil, errors.Join(why)
}
