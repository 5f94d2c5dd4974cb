package main

import (
	"flag"
	"fmt"
	"os"
	"runtime"
	"strconv"
	"testing"
)

// asProgram makes the test binary the program itself: a daemon that a test can kill.
const asProgram = "POTLIFED_TEST_AS_PROGRAM"

func TestMain(m *testing.M) {
	if path := os.Getenv(withClock); path != "" {
		if err := runByClock(path, os.Args[1], os.Stderr); err != nil {
			fmt.Fprintln(os.Stderr, "the service:", err)
			os.Exit(1)
		}
		os.Exit(0)
	}
	if os.Getenv(asProgram) != "" {
		os.Exit(execute())
	}
	if err := manyAtATime(); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	code := m.Run()
	closeChromium()
	os.Exit(code)
}

// manyAtATime lets more tests run at a time than there are processors, unless the flag
// -parallel says how many: they wait for scales, brokers and browsers most of the time.
func manyAtATime() error {
	flag.Parse()
	given := false
	flag.Visit(func(f *flag.Flag) { given = given || f.Name == "test.parallel" })
	if given {
		return nil
	}
	return flag.Set("test.parallel", strconv.Itoa(testsPerProcessor*runtime.GOMAXPROCS(0)))
}

const testsPerProcessor = 2
