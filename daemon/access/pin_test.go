package access

import "testing"

func TestPHC(t *testing.T) {
	h := newHash(goodPIN)
	read, err := parsePHC(h.String())
	if err != nil || !read.is(goodPIN) || read.is("902818") || read.is("") {
		t.Errorf("%v: a hash is not read back as it was written", err)
	}
	if other := newHash(goodPIN); other.String() == h.String() {
		t.Error("two hashes of one PIN are the same: they have no salt")
	}
	for _, bad := range []string{
		"", "$", "$argon2id$v=19$m=19456,t=2,p=1$AAAAAAAAAAAAAAAAAAAAAA",
		"$argon2i$v=19$m=19456,t=2,p=1$AAAAAAAAAAAAAAAAAAAAAA$AAAAAAAAAAAAAAAAAAAAAA",
		"$argon2id$v=16$m=19456,t=2,p=1$AAAAAAAAAAAAAAAAAAAAAA$AAAAAAAAAAAAAAAAAAAAAA",
		"$argon2id$v=19$m=19456,t=0,p=1$AAAAAAAAAAAAAAAAAAAAAA$AAAAAAAAAAAAAAAAAAAAAA",
		"$argon2id$v=19$m=19456,t=2,p=0$AAAAAAAAAAAAAAAAAAAAAA$AAAAAAAAAAAAAAAAAAAAAA",
		"$argon2id$v=19$m=99999999,t=2,p=1$AAAAAAAAAAAAAAAAAAAAAA$AAAAAAAAAAAAAAAAAAAAAA",
		"$argon2id$v=19$m=19456,t=2,p=1,x=1$AAAAAAAAAAAAAAAAAAAAAA$AAAAAAAAAAAAAAAAAAAAAA",
		"$argon2id$v=19$m=19456,t=2,p=1$AAAAAAAAAAAAAAAAAAAAAA$",
		"$argon2id$v=19$m=19456,t=2,p=1$$AAAAAAAAAAAAAAAAAAAAAA",
		"$argon2id$v=19$m=19456,t=2,p=1$AAAAAAAAAAAAAAAAAAAAAA==$AAAAAAAAAAAAAAAAAAAAAA",
		"$argon2id$v=19$t=2,m=19456,p=1$AAAAAAAAAAAAAAAAAAAAAA$AAAAAAAAAAAAAAAAAAAAAA",
	} {
		if h, err := parsePHC(bad); err == nil {
			t.Errorf("%q was read as %+v", bad, h)
		}
	}
}

// FuzzPHC: what is read can be hashed with at the bounded cost, and is written as it
// was read.
func FuzzPHC(f *testing.F) {
	f.Add("$argon2id$v=19$m=8,t=1,p=1$AAAAAAAAAAAAAAAAAAAAAA$AAAAAAAAAAAAAAAAAAAAAA")
	f.Add("$argon2id$v=19$m=0,t=0,p=0$$")
	f.Fuzz(func(t *testing.T, text string) {
		h, err := parsePHC(text)
		if err != nil {
			return
		}
		if again, err := parsePHC(h.String()); err != nil || again.String() != h.String() {
			t.Errorf("%q is written as %q, which is read as %v", text, h, err)
		}
		if h.memoryKiB <= 64 && h.passes <= 2 {
			h.is("123456")
		}
	})
}
