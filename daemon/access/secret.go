package access

import (
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/base64"
	"encoding/hex"
)

// secretBytes is the size of a session's or token's secret: 256 bits.
const secretBytes = 32

func newSecret() string {
	b := make([]byte, secretBytes)
	rand.Read(b) // never fails
	return base64.RawURLEncoding.EncodeToString(b)
}

// newID names a session where others can see it; it has nothing to do with its secret.
func newID() string {
	b := make([]byte, 6)
	rand.Read(b)
	return hex.EncodeToString(b)
}

func hashSecret(secret string) string {
	sum := sha256.Sum256([]byte(secret))
	return hex.EncodeToString(sum[:])
}

// is compares hashes, and so tells nothing of a secret by how long it takes.
func is(hash, of string) bool { return subtle.ConstantTimeCompare([]byte(hash), []byte(of)) == 1 }
