package main

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"time"

	"potlifed/daemon"
	"potlifed/daemon/access"
	"potlifed/daemon/broker"
	"potlifed/daemon/config"
	"potlifed/daemon/mqtt"
	"potlifed/daemon/web"
)

// files looks at the files that the configuration names.
func (l *checklist) files(shop config.Shop) {
	if file := shop.HTTP.WebConfigFile; file != "" {
		if err := web.CheckConfigFile(file); err != nil {
			l.fault("web_config_file", "%v", err)
		} else {
			l.good("web_config_file", "%s can be used", file)
		}
	}
	if shop.Broker.CertFile != "" {
		if _, err := broker.LoadCertificate(shop.Broker); err != nil {
			l.fault("broker certificate", "%v", err)
		} else {
			l.good("broker certificate", "%s and its key can be used", shop.Broker.CertFile)
		}
	}
	l.certificates(shop, time.Now())
	for _, secret := range daemon.Secrets(shop) {
		if err := secret.Check(); err != nil {
			l.fault(secret.What, "%v", err)
		}
	}
	_, hall := mqtt.FromShop(shop)
	_, plant := mqtt.PlantFromShop(shop)
	for _, one := range slices.Concat(joined(hall), joined(plant)) {
		l.fault("mqtt", "%v", one)
	}
}

// joined returns the errors that errors.Join put together, or err alone; none for nil.
func joined(err error) []error {
	if err == nil {
		return nil
	}
	if list, ok := err.(interface{ Unwrap() []error }); ok {
		return list.Unwrap()
	}
	return []error{err}
}

// dataDir looks whether the journal's folder can be written. The service makes a folder
// that is not there, if it may.
func (l *checklist) dataDir(shop config.Shop) {
	folder := filepath.Clean(shop.DataDir)
	f, err := os.CreateTemp(folder, ".check-*")
	if errors.Is(err, fs.ErrNotExist) {
		l.missingDataDir(folder)
		return
	}
	if err == nil {
		err = errors.Join(f.Close(), os.Remove(f.Name()))
	}
	if err != nil {
		l.fault("data_dir", "%v; let the service's user write in this folder", err)
		return
	}
	l.good("data_dir", "%s can be written", folder)
}

// missingDataDir tries whether the folder can be made, and leaves nothing behind.
func (l *checklist) missingDataDir(folder string) {
	parent := filepath.Dir(folder)
	for {
		if _, err := os.Stat(parent); !errors.Is(err, fs.ErrNotExist) {
			break
		}
		parent = filepath.Dir(parent)
	}
	trial, err := os.MkdirTemp(parent, ".check-*")
	if err == nil {
		err = os.Remove(trial)
	}
	if err != nil {
		l.fault("data_dir", "%s does not exist, and this user cannot make it: %v; make the folder and give it to the service's user", folder, err)
		return
	}
	l.good("data_dir", "%s does not exist yet; the service makes it when it starts", folder)
}

// access says who may change something.
func (l *checklist) access(shop config.Shop) {
	store := access.Open(shop.DataDir)
	pin, err := store.HasPIN()
	if err != nil {
		l.fault("access", "%v", err)
		return
	}
	tokens, err1 := store.Tokens()
	devices, err2 := store.Sessions(time.Now())
	switch {
	case err1 != nil || err2 != nil:
		l.fault("access", "%v", errors.Join(err1, err2))
	case pin:
		l.good("access", "a PIN is set; paired devices: %d, tokens: %d", len(devices), len(tokens))
	default:
		l.good("access", "no PIN is set: changes are taken from this computer only, and with a token (%d); see potlifed pin --help", len(tokens))
	}
}
