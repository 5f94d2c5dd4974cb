package daemon

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"potlifed/daemon/access"
	"potlifed/daemon/config"
)

// Secret is a file that must be nobody else's.
type Secret struct {
	What string // its key in the configuration, or its name
	Path string
}

// Secrets returns the files with secrets that a shop uses; not all need to exist.
func Secrets(shop config.Shop) []Secret {
	all := []Secret{
		{"mqtt.password_file", shop.MQTT.PasswordFile}, {"mqtt.key_file", shop.MQTT.KeyFile}, {"broker.key_file", shop.Broker.KeyFile},
		{"plant.password_file", shop.Plant.PasswordFile}, {"plant.key_file", shop.Plant.KeyFile},
		{"http.web_config_file", shop.HTTP.WebConfigFile}, {"access", filepath.Join(shop.DataDir, access.FileName)},
	}
	used := all[:0]
	for _, s := range all {
		if s.Path != "" {
			used = append(used, s)
		}
	}
	return used
}

// Check returns an error when every user of the computer may read or write the file, nil
// otherwise. A file that is missing, or that may not be looked at, is for others to report.
func (s Secret) Check() error {
	info, err := os.Stat(s.Path)
	if errors.Is(err, fs.ErrNotExist) || errors.Is(err, fs.ErrPermission) {
		return nil
	}
	if err != nil {
		return err
	}
	const everybody = 0o007
	if mode := info.Mode().Perm(); mode&everybody != 0 {
		return fmt.Errorf("%s has the mode %04o, so every user of this computer can get at the secret in it: chown root:potlifed %s && chmod 0640 %s",
			s.Path, mode, s.Path, s.Path)
	}
	return nil
}

// warnOfSecrets logs each file with a secret that everybody may read.
func (s *service) warnOfSecrets() {
	for _, secret := range Secrets(s.Shop) {
		if err := secret.Check(); err != nil {
			s.Log.Warn("a secret is open to everybody", "file", secret.What, "err", err)
		}
	}
}
