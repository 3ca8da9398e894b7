/* A decoder for classic CAN, written from the rules in docs/networks/can.md and not from framesim's code.
   With -DNO_STUFF_AFTER_CRC it makes one classic mistake. */
#include <stdio.h>
#include <string.h>
#include "decoder.h"

struct wire { const char *bits; int at, run, last; const char *fault; int where; };

static int raw(struct wire *w) { /* the next wire bit, or -1 at the end of the wire */
    if (!w->bits[w->at]) { w->fault = "end"; return -1; }
    return w->bits[w->at++] - '0';
}

static void unstuff(struct wire *w) { /* after five equal bits: take the stuff bit */
    if (w->fault || w->run < 5) return;
    int bit = raw(w);
    if (bit < 0) return;
    if (bit == w->last) { w->fault = "stuffing"; w->where = w->at - 1; return; }
    w->last = bit;
    w->run = 1;
}

static int stuffed(struct wire *w) { /* the next bit of the frame where bits are stuffed */
    unstuff(w);
    if (w->fault) return -1;
    int bit = raw(w);
    if (bit < 0) return -1;
    w->run = w->run && bit == w->last ? w->run + 1 : 1;
    w->last = bit;
    return bit;
}

static int fixed(struct wire *w) { /* a bit that must be recessive */
    int bit = raw(w);
    if (bit == 0) { w->fault = "form"; w->where = w->at - 1; return -1; }
    return bit;
}

static unsigned crc; /* 15 bits, polynomial 0x4599 */

static long field(struct wire *w, int width) {
    long value = 0;
    while (width--) {
        int bit = stuffed(w);
        if (w->fault) return 0;
        value = value << 1 | bit;
        unsigned high = (crc >> 14 & 1) ^ (unsigned)bit;
        crc = (crc << 1 & 0x7FFF) ^ (high ? 0x4599 : 0);
    }
    return value;
}

static void read_frame(struct wire *w, char *answer) {
    static const char *const truth[] = {"false", "true"};
    unsigned char data[8];
    crc = 0;
    field(w, 1);
    long identifier = field(w, 11), remote = field(w, 1), extended = field(w, 1);
    if (!w->fault && extended) {
        identifier = identifier << 18 | field(w, 18);
        remote = field(w, 1);
        field(w, 1);
    }
    field(w, 1);
    int dlc = (int)field(w, 4), size = remote ? 0 : dlc > 8 ? 8 : dlc;
    for (int place = 0; place < size && !w->fault; place++) data[place] = (unsigned char)field(w, 8);
    field(w, 15);
    unsigned remainder = crc;
#ifndef NO_STUFF_AFTER_CRC
    if (!w->fault) unstuff(w);
#endif
    if (!w->fault) fixed(w);
    if (!w->fault) raw(w);
    if (!w->fault) fixed(w);
    if (!w->fault && remainder) { w->fault = "crc"; w->where = w->at - 1; }
    for (int place = 0; place < 6 && !w->fault; place++) fixed(w);
    if (w->fault) return;
    answer += sprintf(answer, "\"verdict\":\"accepted\",\"identifier\":%ld,\"payload\":\"", identifier);
    for (int place = 0; place < size; place++) answer += sprintf(answer, "%02x", data[place]);
    sprintf(answer, "\",\"extended\":%s,\"remote\":%s,\"dlc\":%d", truth[extended], truth[remote], dlc);
}

void decode(const char *bits, char *answer) {
    struct wire w = {bits, (int)strspn(bits, "1"), 0, 0, NULL, 0};
    read_frame(&w, answer);
    if (!w.fault) return;
    if (!strcmp(w.fault, "end")) strcpy(answer, "\"verdict\":\"incomplete\"");
    else sprintf(answer, "\"verdict\":\"rejected\",\"check\":\"%s\",\"at\":%d", w.fault, w.where);
}
