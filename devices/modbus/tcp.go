package modbus

import (
	"context"
	"encoding/binary"
	"fmt"
)

// headerBytes is the length of the MBAP header: transaction, protocol, length, unit (TCP V1.0b,
// 3.1.3). The length counts the unit and what follows.
const headerBytes = 7

// askTCP makes a request over TCP. Answers to earlier requests are recognised by their transaction
// and skipped.
func (b *Bus) askTCP(ctx context.Context, r Request) ([]uint16, error) {
	b.transaction++
	if _, err := b.stream.Write(requestTCP(b.transaction, r)); err != nil {
		return nil, err
	}
	came, err := b.receive(ctx, func(came []byte) bool {
		_, done, err := splitTCP(b.transaction, came)
		return done || err != nil
	})
	if err != nil {
		return nil, err
	}
	frame, done, err := splitTCP(b.transaction, came)
	switch {
	case err != nil:
		return nil, err
	case !done && len(came) == 0:
		return nil, ErrTimeout
	case !done:
		return nil, fmt.Errorf("%w: it is not complete, % x", ErrFrame, head(came))
	case frame[headerBytes-1] != r.Unit:
		return nil, fmt.Errorf("%w: it is of unit %d", ErrFrame, frame[headerBytes-1])
	}
	return parsePDU(r, frame[headerBytes:])
}

func requestTCP(transaction uint16, r Request) []byte {
	frame := binary.BigEndian.AppendUint16(nil, transaction)
	frame = append(frame, 0, 0, 0, 6, r.Unit, byte(r.Function))
	frame = binary.BigEndian.AppendUint16(frame, r.First)
	return binary.BigEndian.AppendUint16(frame, uint16(r.Count))
}

// splitTCP returns the frame of a transaction once it is complete; frames of other transactions
// before it are skipped. Invariant of the loop: came begins with a header.
func splitTCP(transaction uint16, came []byte) (frame []byte, done bool, err error) {
	for len(came) >= headerBytes {
		length := int(binary.BigEndian.Uint16(came[4:]))
		if binary.BigEndian.Uint16(came[2:]) != 0 || length < 3 || length > maxFrameBytes-headerBytes+1 {
			return nil, false, fmt.Errorf("%w: no header of Modbus TCP, % x", ErrFrame, head(came))
		}
		end := headerBytes - 1 + length
		if len(came) < end {
			break
		}
		if binary.BigEndian.Uint16(came) == transaction {
			return came[:end], true, nil
		}
		came = came[end:]
	}
	return nil, false, nil
}
