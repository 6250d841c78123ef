// SPDX-License-Identifier: Apache-2.0
#include "format_reader.hpp"

namespace telltale::dump {

std::unique_ptr<FormatReader> make_pcap_reader() {
    return nullptr;
} // not read yet

} // namespace telltale::dump
