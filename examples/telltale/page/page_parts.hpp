// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <string_view>

/// The files that a page is made of, as they were when the program was built.
namespace telltale::page {

std::string_view html();
std::string_view css();
std::string_view js();
/// The plotting library; empty when the program was built without npm.
std::string_view plot_js();
std::string_view plot_css();
std::string_view plot_licence();

} // namespace telltale::page
