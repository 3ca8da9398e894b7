/* A scalar receiver of classic CAN, written by hand from the same clauses as the reference: one bit at a time, early
 * exit, state in registers. Flips are drawn with splitmix64 (Steele, Lea and Flood, OOPSLA 2014; constants from memory).
 * Built by the benchmark with gcc -O3 -march=native; its verdicts are compared with the reference receiver first. */
#include <stdint.h>
#include <string.h>

enum { ACCEPTED = 0, STUFFING = 1, FORM = 2, CRC = 3, NEVER_SEEN = 4 };

/* Returns the first check to speak. bits: one byte a wire bit, recessive behind the frame. */
int receive(const uint8_t *bits, int n_bits)
{
    int at = 0;
    while (at < n_bits && bits[at])
        at++;
    if (at == n_bits)
        return NEVER_SEEN;
    uint32_t crc = 0, head = 0;
    int last = -1, run = 0, taken = 0, end = 1000, extended = 0, remote = 0;
    for (;; at++) {
        if (at >= n_bits)
            return NEVER_SEEN;
        int bit = bits[at];
        if (run == 5) {
            if (bit == last)
                return STUFFING;
            last = bit;
            run = 1;
            if (taken == end)
                { at++; break; }
            continue;
        }
        run = bit == last ? run + 1 : 1;
        last = bit;
        uint32_t fed = (crc >> 14 & 1) ^ bit;
        crc = (crc << 1 & 0x7fff) ^ (fed ? 0x4599 : 0);
        head = head << 1 | bit;
        taken++;
        if (taken == 13)
            remote = bit;
        else if (taken == 14)
            extended = bit;
        else if (taken == 33 && extended)
            remote = bit;
        if (taken == (extended ? 39 : 19)) {
            int dlc = head & 15;
            end = taken + 15 + (remote ? 0 : 8 * (dlc > 8 ? 8 : dlc));
        }
        if (taken == end && run < 5)
            { at++; break; }
    }
    if (at + 8 >= n_bits)
        return NEVER_SEEN;
    if (!bits[at] || !bits[at + 2])
        return FORM;
    if (crc)
        return CRC;
    for (int behind = 3; behind < 9; behind++)
        if (!bits[at + behind])
            return FORM;
    return ACCEPTED;
}

static uint64_t mixed(uint64_t z)
{
    z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9u;
    z = (z ^ (z >> 27)) * 0x94d049bb133111ebu;
    return z ^ (z >> 31);
}

/* Sends each frame `turns` times with two flips; tally[verdict] counts. wires: n_frames rows of n_bits bytes. */
void two_flips(const uint8_t *wires, const int64_t *lengths, int n_frames, int n_bits, int turns, uint64_t seed,
               int64_t *tally)
{
    uint8_t bits[512];
    uint64_t counter = seed;
    for (int frame = 0; frame < n_frames; frame++) {
        memcpy(bits, wires + (size_t)frame * n_bits, n_bits);
        uint32_t n = lengths[frame];
        for (int turn = 0; turn < turns; turn++) {
            uint64_t u = mixed(counter += 0x9e3779b97f4a7c15u);
            uint32_t one = (uint64_t)(uint32_t)u * (n - 1) >> 32, two = (u >> 32) * n >> 32;
            if (two == one)
                two = n - 1;
            bits[one] ^= 1;
            bits[two] ^= 1;
            tally[receive(bits, n_bits)]++;
            bits[one] ^= 1;
            bits[two] ^= 1;
        }
    }
}
