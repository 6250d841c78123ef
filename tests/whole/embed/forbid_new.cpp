// SPDX-License-Identifier: Apache-2.0
// Linked into a program that must not allocate: the first allocation ends it.
#include <cstdio>
#include <cstdlib>
#include <new>

void* operator new(std::size_t size) {
    std::fprintf(stderr, "allocated %zu bytes\n", size);
    std::abort();
}
void* operator new[](std::size_t size) {
    return operator new(size);
}
void operator delete(void*) noexcept {}
void operator delete[](void*) noexcept {}
void operator delete(void*, std::size_t) noexcept {}
void operator delete[](void*, std::size_t) noexcept {}
