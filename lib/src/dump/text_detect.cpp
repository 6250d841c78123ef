// SPDX-License-Identifier: Apache-2.0
#include "format_reader.hpp"

namespace telltale::dump {

// The text formats are not read yet: nothing is found to be one of them.
Format detect_text(Bytes, bool) {
    return Format::unknown;
}

std::unique_ptr<FormatReader> make_can_log_reader() {
    return nullptr;
}
std::unique_ptr<FormatReader> make_can_columns_reader() {
    return nullptr;
}
std::unique_ptr<FormatReader> make_can_serial_reader() {
    return nullptr;
}
std::unique_ptr<FormatReader> make_csv_reader() {
    return nullptr;
}
std::unique_ptr<FormatReader> make_hex_reader() {
    return nullptr;
}

} // namespace telltale::dump
