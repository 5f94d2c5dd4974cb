package broker

import server "github.com/mochi-mqtt/server/v2"

// User is a user of the broker.
type User struct {
	Name string
	// Hash is that of the password. Another hash means another user of the same name.
	Hash string
	// Is reports whether this is the user's password.
	Is func(password string) bool
	// May reports whether the user may give a command, by its verb.
	May func(verb string) bool
	// Lights are the lights whose topics the user is restricted to; empty for a user who
	// may read everything.
	Lights []string
}

// Users are those who may connect. Find returns a user by name, and false where there is no
// such user. It is called from several goroutines, with each connection and each command;
// its answer takes effect at once.
type Users interface {
	Find(name string) (User, bool)
}

// noUsers are the users of a broker that has none.
type noUsers struct{}

func (noUsers) Find(string) (User, bool) { return User{}, false }

// principal is who a connection belongs to. The zero value is a guest.
type principal struct {
	own  bool // the daemon itself
	user User
}

func (p principal) same(q principal) bool {
	return p.own == q.own && p.user.Name == q.user.Name && p.user.Hash == q.user.Hash
}

// owner returns who a connection belongs to; known is false before authentication and after
// the session has ended.
func (h *accessHook) owner(cl *server.Client) (p principal, known bool) {
	h.mu.Lock()
	defer h.mu.Unlock()
	p, known = h.owners[cl]
	return p, known
}

// refresh returns a principal with its present rights; false if the user no longer exists.
func (h *accessHook) refresh(p principal) (principal, bool) {
	if p.own || p.user.Name == "" {
		return p, true
	}
	user, ok := h.users.Find(p.user.Name)
	if !ok || user.Hash != p.user.Hash {
		return principal{}, false
	}
	p.user = user
	return p, true
}

// checkConnections disconnects the clients of revoked users, gives the others their present
// rights, forgets the owners of sessions that have ended, and bounds disconnected sessions.
func (h *accessHook) checkConnections() {
	h.mu.Lock()
	owners := make(map[*server.Client]principal, len(h.owners))
	for cl, p := range h.owners {
		owners[cl] = p
	}
	h.mu.Unlock()
	for cl, before := range owners {
		if current, found := h.server.Clients.Get(cl.ID); cl.Closed() && (!found || current != cl) {
			h.forget(cl)
			continue
		}
		now, ok := h.refresh(before)
		if !ok {
			h.refuse(cl, actionConnect, "stay connected as "+before.user.Name+", who was revoked")
			h.disconnectUser(cl)
			continue
		}
		h.mu.Lock()
		if _, connected := h.owners[cl]; connected {
			h.owners[cl] = now
		}
		h.mu.Unlock()
	}
	h.endOldestSessions()
}

func (h *accessHook) forget(cl *server.Client) {
	h.mu.Lock()
	defer h.mu.Unlock()
	delete(h.owners, cl)
}
