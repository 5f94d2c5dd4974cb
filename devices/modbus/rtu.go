package modbus

import (
	"context"
	"encoding/binary"
	"fmt"
)

// askRTU makes a request on a serial line.
func (b *Bus) askRTU(ctx context.Context, r Request) ([]uint16, error) {
	if err := b.drain(ctx); err != nil {
		return nil, err
	}
	if _, err := b.stream.Write(requestRTU(r)); err != nil {
		return nil, err
	}
	// One poll beyond the last byte shows that nothing follows, see parseRTU.
	came, err := b.receive(ctx, func([]byte) bool { return false })
	if err != nil {
		return nil, err
	}
	return parseRTU(r, came)
}

// requestRTU returns the frame of a request: address, function, first register, number of
// registers, checksum.
func requestRTU(r Request) []byte {
	frame := []byte{r.Unit, byte(r.Function)}
	frame = binary.BigEndian.AppendUint16(frame, r.First)
	frame = binary.BigEndian.AppendUint16(frame, uint16(r.Count))
	return binary.LittleEndian.AppendUint16(frame, crc(frame))
}

// parseRTU returns the registers of the one frame that came after a request. More than one frame,
// or anything before or after it, is ErrFrame: what of it answers this request is not known.
// Any zero bytes before the frame are skipped, since drivers of RS-485 make them when they
// switch on; no unit that answers has the address 0.
func parseRTU(r Request, came []byte) ([]uint16, error) {
	for len(came) > 0 && came[0] == 0 {
		came = came[1:]
	}
	switch {
	case len(came) == 0:
		return nil, ErrTimeout
	case len(came) < 5:
		return nil, fmt.Errorf("%w: %d bytes, % x", ErrFrame, len(came), came)
	case crc(came[:len(came)-2]) != binary.LittleEndian.Uint16(came[len(came)-2:]):
		return nil, fmt.Errorf("%w: the checksum is wrong or the line is noisy, % x", ErrFrame, head(came))
	case came[0] != r.Unit:
		return nil, fmt.Errorf("%w: it is of unit %d", ErrFrame, came[0])
	}
	return parsePDU(r, came[1:len(came)-2])
}

// parsePDU returns the registers of an answer without address and checksum: function, number of
// bytes, registers; or function + 0x80 and the exception code.
func parsePDU(r Request, pdu []byte) ([]uint16, error) {
	switch {
	case len(pdu) == 2 && pdu[0] == byte(r.Function)|0x80:
		return nil, fmt.Errorf("%w: exception %d%s", ErrException, pdu[1], exceptions[pdu[1]])
	case len(pdu) < 2 || pdu[0] != byte(r.Function):
		return nil, fmt.Errorf("%w: it is of another function, % x", ErrFrame, head(pdu))
	case int(pdu[1]) != 2*r.Count || len(pdu) != 2+2*r.Count:
		return nil, fmt.Errorf("%w: %d bytes of registers, want %d", ErrFrame, len(pdu)-2, 2*r.Count)
	}
	registers := make([]uint16, r.Count)
	for i := range registers {
		registers[i] = binary.BigEndian.Uint16(pdu[2+2*i:])
	}
	return registers, nil
}

// exceptions are the usual exception codes in words (V1.1b3, 7).
var exceptions = map[byte]string{
	1:  ", the function is not supported: set registers to input where it is holding, or to holding where it is input",
	2:  ", the register is not there: look it up in the manual; lists that begin with 1, 30001 or 40001 are one higher than register, which counts from 0",
	3:  ", the value is refused: it does not give so many registers at once; a type of 16 bits needs one, a type of 32 bits two",
	4:  ", it failed while it measured: switch it off and on, and replace it if that does not help",
	5:  ", it needs more time: read it less often with every",
	6:  ", it is busy: another master may ask it; read it less often with every",
	10: ", the gateway has no path to it: check the gateway's settings",
	11: ", the gateway gets no answer from it: check its unit number, its supply and its line",
}

// head is the beginning of a frame, for a message.
func head(frame []byte) []byte { return frame[:min(len(frame), 16)] }

// crc returns the checksum of a frame (serial line V1.02, 6.2.2). Its low byte is sent first.
func crc(frame []byte) uint16 {
	sum := uint16(0xffff)
	for _, c := range frame {
		sum ^= uint16(c)
		for range 8 {
			odd := sum & 1
			sum >>= 1
			if odd != 0 {
				sum ^= 0xa001
			}
		}
	}
	return sum
}
