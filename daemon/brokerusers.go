package daemon

import (
	"potlifed/daemon/access"
	"potlifed/daemon/mqtt"
	"potlifed/daemon/request"
)

// brokerUsers are the tokens that were made for the built-in broker.
type brokerUsers struct{ store *access.Store }

var _ mqtt.Users = brokerUsers{}

// Find looks a user up. A file that cannot be read lets nobody in.
func (u brokerUsers) Find(name string) (mqtt.User, bool) {
	t, err := u.store.User(name)
	if err != nil {
		return mqtt.User{}, false
	}
	return mqtt.User{
		Name: t.Name, Hash: t.Hash, Is: t.Is, Lights: t.Lights,
		May: func(verb string) bool { return t.Allows(request.Needs(verb)) },
	}, true
}
