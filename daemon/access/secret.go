package access

import (
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/base64"
	"encoding/hex"
)

// secretBytes is the size of the secret of a session or a token: 256 bits.
const secretBytes = 32

func newSecret() string {
	b := make([]byte, secretBytes)
	rand.Read(b) // never fails
	return base64.RawURLEncoding.EncodeToString(b)
}

// newID returns a public id for a session. It is independent of the secret.
func newID() string {
	b := make([]byte, 6)
	rand.Read(b)
	return hex.EncodeToString(b)
}

func hashSecret(secret string) string {
	sum := sha256.Sum256([]byte(secret))
	return hex.EncodeToString(sum[:])
}

// is compares hashes in constant time, so that the time reveals nothing about the secret.
func is(hash, of string) bool { return subtle.ConstantTimeCompare([]byte(hash), []byte(of)) == 1 }
