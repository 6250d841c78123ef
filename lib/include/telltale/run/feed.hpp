// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "telltale/dump/reader.hpp"
#include "telltale/message/stream.hpp"

namespace telltale::run {

/// Gives a record of a dump to the stream as what it is: a CAN frame, a whole message, a frame of a
/// K-line or of J1850. A comment that belongs to no frame is nothing to the stream.
inline void feed(message::Stream& stream, const dump::Record& record, message::Listener& listener) {
    switch (record.kind) {
    case dump::RecordKind::can:
        return stream.can(record.line, record.can, record.time, record.place, listener);
    case dump::RecordKind::message:
        return stream.message(record.bytes, record.time, record.place, listener);
    case dump::RecordKind::kline:
        return stream.kline(record.line, record.bytes, record.time, record.place, listener);
    case dump::RecordKind::j1850:
        return stream.j1850(record.line, record.bytes, record.time, record.place, listener);
    case dump::RecordKind::comment:
        return;
    }
}

/// Tells a problem of the dump itself, which is in nothing that anybody said.
inline void tell(const Problem& problem, message::Listener& listener) {
    message::Said nobody;
    nobody.time = problem.time;
    nobody.place = problem.place;
    listener.problem(problem, nobody);
}

} // namespace telltale::run
